// Lines and tickets over HTTP: checked without being stored, kept revision by revision, with sequences, and weighed as queued work.
import { describe, expect, it } from 'vitest'
import type { Conformance } from '../fixtures/conformance.ts'
import { code, lineProfile, ticketOf } from '../fixtures/live-run.ts'
import { sequenceText } from '../fixtures/sequences.ts'
import { until } from '../fixtures/server.ts'

const csv = { 'content-type': 'text/csv' }
const good = [
  [code('LIME', 1), code('PLUM', 2)],
  [code('LIME', 3), code('PLUM', 4)],
]

/** To be run once line L7 and ticket T7 are stored and their job is published and released. */
export function linesSuite(of: () => Conformance): void {
  const short = (findings: { code: string; pointer: string }[]) =>
    findings.map((finding) => `${finding.code} ${finding.pointer}`)

  describe('lines and tickets that are checked', () => {
    it('get every finding at once, and nothing is stored', async () => {
      const [station] = lineProfile().stations
      const stations = [{ ...station, handlingMm: { atHand: 200, notAtHand: 100 } }]
      const line = { ...lineProfile(), line: 'L8', colour: 1, stations }
      const { json } = await of().ok(200, 'POST /lines/check', {}, { body: line })
      expect(short(json.findings)).toEqual(['line-schema /colour', 'line-stations /stations/0/handlingMm/atHand'])
      const refused = await of().refused('line-schema', 'PUT /lines/:line', { line: 'L8' }, { body: line })
      expect(refused.json.findings).toEqual(json.findings)
      await of().refused('line-not-found', 'GET /lines/:line', { line: 'L8' })
    })

    it('are held against what is published, and a line where one is named', async () => {
      const ticket = { ...ticketOf('T6'), cells: [1, 9], unwind: { chart: 'house', number: 4 } }
      const all = await of().ok(200, 'POST /tickets/check', {}, { body: ticket })
      expect(short(all.json.findings)).toEqual(['ticket-cells /cells/1'])
      const query = { line: 'L7' }
      const { json } = await of().ok(200, 'POST /tickets/check', {}, { body: { ...ticket, cells: [1] }, query })
      expect(short(json.findings)).toEqual(['ticket-unwind /unwind'])
      await of().refused('ticket-cells', 'PUT /tickets/:ticket', { ticket: 'T6' }, { body: ticket })
      await of().refused(
        'ticket-unwind',
        'PUT /tickets/:ticket',
        { ticket: 'T6' },
        { body: { ...ticket, cells: [1] }, query },
      )
      await of().refused('line-not-found', 'POST /tickets/check', {}, { body: ticket, query: { line: 'none' } })
    })
  })

  describe('revisions', () => {
    it('of lines and tickets all stay', async () => {
      const put = (title: string) =>
        of().ok(200, 'PUT /lines/:line', { line: 'L6' }, { body: { ...lineProfile(), line: 'L6', title } })
      for (const title of ['first', 'second', 'second']) await put(title)
      const line = { line: 'L6' }
      const { json } = await of().ok(200, 'GET /lines/:line/revisions', line)
      expect(json.revisions.map((row: { revision: number }) => row.revision)).toEqual([1, 2])
      const first = await of().ok(200, 'GET /lines/:line', line, { query: { revision: 1 } })
      expect(first.json).toMatchObject({ revision: 1, content: { title: 'first' } })
      await of().refused('line-not-found', 'GET /lines/:line', line, { query: { revision: 3 } })
      await of().refused('line-not-found', 'GET /lines/:line/revisions', { line: 'none' })

      const ticket = { ticket: 'T5' }
      for (const pass of [1, 2])
        await of().ok(200, 'PUT /tickets/:ticket', ticket, { body: { ...ticketOf('T5'), pass } })
      expect((await of().ok(200, 'GET /tickets/:ticket/revisions', ticket)).json.revisions).toHaveLength(2)
      const shown = await of().ok(200, 'GET /tickets/:ticket', ticket, { query: { revision: 1 } })
      expect(shown.json.content.pass).toBe(1)
      await of().refused('ticket-not-found', 'GET /tickets/:ticket', ticket, { query: { revision: 9 } })
      await of().refused('ticket-not-found', 'GET /tickets/:ticket/revisions', { ticket: 'none' })
    })

    it('are listed by their newest', async () => {
      const { lines } = (await of().ok(200, 'GET /lines')).json
      expect(lines).toContainEqual(expect.objectContaining({ line: 'L6', title: 'second', revision: 2 }))
      const { tickets } = (await of().ok(200, 'GET /tickets')).json
      expect(tickets).toContainEqual(
        expect.objectContaining({ ticket: 'T5', roll: 'T5-R1', jobs: ['J7'], revision: 2 }),
      )
    })
  })

  describe('a sequence', () => {
    it('is stored under its digest, or refused row by row', async () => {
      const send = (raw: string, query: object) => ({ raw, headers: csv, query: query as Record<string, string> })
      const stored = await of().ok(200, 'POST /sequences', {}, send(sequenceText(good), { jobs: 'J7', cells: '1,2' }))
      expect(stored.json).toMatchObject({ rows: 4, positions: 2, sha256: expect.stringMatching(/^[0-9a-f]{64}$/) })
      const refused = await of().refused(
        'sequence-refused',
        'POST /sequences',
        {},
        send('position,cell,code\n1,1,a\n0,9,b\n', { jobs: 'J7' }),
      )
      expect(refused.json.findings).toMatchObject([{ code: 'sequence-position', row: 3, measured: 0, limit: 1 }])
      await of().refused(
        'wrong-media-type',
        'POST /sequences',
        {},
        { raw: 'x', headers: { 'content-type': 'text/plain' } },
      )
      await of().refused('bad-request', 'POST /sequences', {}, send('x', { cells: 'one' }))
    })

    it('is weighed label by label, as queued work or at once', async () => {
      const raw = sequenceText([...good, [code('LIME', 3), 'nobody']])
      const { sha256 } = (await of().ok(200, 'POST /sequences', {}, { raw, headers: csv, query: { jobs: 'J7' } })).json
      const ticket = { ...ticketOf('T4'), sequence: { sha256 } }
      await of().ok(200, 'PUT /tickets/:ticket', { ticket: 'T4' }, { body: ticket })
      const names = { ticket: 'T4', line: 'L7' }
      const queued = await of().ok(202, 'POST /readiness', {}, { body: names })
      await until(async () => (await of().ok(200, 'GET /work/:id', { id: queued.json.id })).json.state === 'done')
      const waited = await of().ok(200, 'POST /readiness', {}, { body: names, headers: { prefer: 'wait=60' } })
      const { result } = waited.json
      expect(result).toMatchObject({ ready: false, expected: { positions: 3, labels: 6 } })
      expect(result.blockers).toEqual([
        expect.objectContaining({
          code: 'unknown-code',
          labels: 1,
          examples: [{ position: 2, cell: 2, code: 'nobody' }],
          mend: expect.any(String),
        }),
      ])
      expect(result.warnings).toMatchObject([{ code: 'code-twice', labels: 1 }])
      expect((await of().ok(200, 'GET /readiness', {}, { query: names })).json).toEqual(result)
      const { revision } = (await of().ok(200, 'GET /readiness/revision', {}, { query: names })).json
      expect(revision).toBe(result.revision)
      await of().refused('ticket-not-found', 'POST /readiness', {}, { body: { ...names, ticket: 'none' } })
      await of().refused('line-not-found', 'GET /readiness/revision', {}, { query: { ...names, line: 'none' } })
    })

    it('that was lost keeps its ticket from running', async () => {
      const ticket = { ...ticketOf('T3'), sequence: { sha256: '0'.repeat(64) } }
      await of().ok(200, 'PUT /tickets/:ticket', { ticket: 'T3' }, { body: ticket })
      const { json } = await of().ok(200, 'GET /readiness', {}, { query: { ticket: 'T3', line: 'L7' } })
      expect(json.blockers).toMatchObject([{ code: 'sequence-lost', measured: 'missing' }])
    })
  })
}
