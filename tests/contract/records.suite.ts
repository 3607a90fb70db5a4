// The routes of records: reports, rolls, lists, traces, and what verifies them; cases of the contract of every route.
import { describe, expect, it } from 'vitest'
import { sha256 } from '../../src/kernel/bytes.ts'
import { verifyLedger, verifySignature } from '../../src/ledger/index.ts'
import type { Conformance } from '../fixtures/conformance.ts'
import { code } from '../fixtures/live-run.ts'

/** `open` gives, once the tests run, the routes as they are checked and a sealed run with labels laid and skipped. */
export function recordsSuite(open: () => { readonly api: Conformance; readonly runId: string }): void {
  describe('records', () => {
    it('come as JSON, CSV and a page', async () => {
      const { api, runId } = open()
      const report = (format: string) => api.ok(200, 'GET /runs/:runId/report', { runId }, { query: { format } })
      expect((await report('json')).json).toMatchObject({ runId, state: 'sealed' })
      expect((await report('csv')).text.split('\r\n')).toHaveLength(12 + 2)
      expect((await report('html')).text).toContain(`Roll record ${runId}`)
      expect((await report('pdf')).text).toMatch(/^%PDF-1\.\d[\s\S]*%%EOF\s*$/)
      await api.refused('bad-request', 'GET /runs/:runId/report', { runId }, { query: { format: 'docx' } })
      await api.refused('run-not-found', 'GET /runs/:runId/report', { runId: 'none' })
    })

    it('say what lies on which finished roll, reconciled', async () => {
      const { api, runId } = open()
      const { rolls } = (await api.ok(200, 'GET /runs/:runId/finished', { runId })).json
      expect(rolls.length).toBeGreaterThan(0)
      const found = (await api.ok(200, 'GET /runs/:runId/reconciliation', { runId })).json
      const { in: labels, laid, skipped, setUp, spoiled, unaccounted, difference } = found.run
      expect([laid + skipped + setUp + spoiled + unaccounted, difference]).toEqual([labels, 0])
      const namesOf = (rows: { roll: string }[]) => rows.map(({ roll }) => roll)
      expect(namesOf(found.rolls)).toEqual(namesOf(rolls))
      for (const what of ['finished', 'reconciliation', 'pull-list', 'make-good'])
        await api.refused('run-not-found', `GET /runs/:runId/${what}`, { runId: 'none' })
    })

    it('list what a recall revoked and what had passed by then; readers, of which none are configured here', async () => {
      const { api, runId } = open()
      const { recalls } = (await api.ok(200, 'GET /runs/:runId/recalls', { runId })).json
      expect(recalls).toMatchObject([{ job: 'J7', design: 'PLUM', version: 1, why: 'wrong gloss' }])
      const [{ revoked, passed }] = recalls
      expect([revoked.labels, passed.labels]).toEqual([revoked.listed.length, passed.listed.length])
      await api.refused('run-not-found', 'GET /runs/:runId/recalls', { runId: 'none' })
      expect((await api.ok(200, 'GET /readers', {})).json).toEqual({ readers: [], pictureStreams: [] })
    })

    it('list what to pull and what to make again', async () => {
      const { api, runId } = open()
      const pull = (query: Record<string, string>) => api.ok(200, 'GET /runs/:runId/pull-list', { runId }, { query })
      const { sections } = (await pull({})).json
      expect(sections.length).toBeGreaterThan(0)
      const [{ roll }] = sections
      const turned = (await pull({ roll, rewound: 'true' })).json.sections
      expect(turned).not.toEqual(sections)
      expect((await pull({ roll, format: 'csv' })).text).toMatch(/^\ufeff?roll,fromM,toM,toleranceM,/)
      await api.refused('roll-unknown', 'GET /runs/:runId/pull-list', { runId }, { query: { roll: 'none' } })
      const made = (await api.ok(200, 'GET /runs/:runId/make-good', { runId })).json
      expect(made.withCode + made.withoutCode + made.misprinted).toBe(made.labels)
      const { text } = await api.ok(200, 'GET /runs/:runId/make-good', { runId }, { query: { format: 'csv' } })
      expect(text).toMatch(/^\ufeff?position,cell,code\r\n/)
      expect(text.trimEnd().split('\r\n')).toHaveLength(1 + made.withCode)
    })

    it('tell where a code went', async () => {
      const { api, runId } = open()
      const { json } = await api.ok(200, 'GET /trace', {}, { query: { code: code('LIME', 1) } })
      expect(json).toMatchObject({
        sightings: [{ runId, laid: 'full', answer: { frame: 1, cell: 1 } }],
        unreadable: [],
      })
      expect((await api.ok(200, 'GET /trace', {}, { query: { code: 'nowhere' } })).json.sightings).toEqual([])
    })

    it('show a roll across its passes', async () => {
      const { api, runId } = open()
      const { rolls, unreadable } = (await api.ok(200, 'GET /rolls')).json
      expect(unreadable).toEqual([])
      expect(rolls).toContainEqual({ roll: 'T7-R1', passes: [1], runs: [runId], lastAtMs: expect.any(Number) })
      const { json } = await api.ok(200, 'GET /rolls/:roll', { roll: 'T7-R1' })
      expect(json).toMatchObject({ roll: 'T7-R1', passes: [1], runs: [{ runId, state: 'sealed' }], unreadable: [] })
      const { labels, complete, partly, toCome, never, setUp, cutOut, unclear } = json.total
      expect(complete + partly + toCome + never + setUp + cutOut + unclear).toBe(labels)
      expect(json.runs[0].ofRoll).toBe(labels)
      await api.refused('not-found', 'GET /rolls/:roll', { roll: 'none' })
    })

    it('verify against ledger, heads, checkpoint and public key as they are given out', async () => {
      const { api, runId } = open()
      const { text } = await api.ok(200, 'GET /runs/:runId/ledger', { runId })
      const leafed = await api.ok(200, 'GET /runs/:runId/ledger', { runId }, { query: { with: 'leaf' } })
      const { heads } = (await api.ok(200, 'GET /runs/:runId/heads', { runId })).json
      const checkpoint = await api.ok(200, 'GET /runs/:runId/checkpoint', { runId })
      const key = (await api.ok(200, 'GET /key')).text.trim()
      const lines = text.trimEnd().split('\n')
      expect(leafed.text.replaceAll(/^[0-9a-f]{64} /gm, '')).toBe(text)
      const witnesses = [{ text: checkpoint.text, key }]
      const given = { lines: lines.map((line) => Buffer.from(line)), sha256, runId, heads, witnesses, verifySignature }
      expect(await verifyLedger(given)).toMatchObject({ ok: true, entries: lines.length, sealed: true })
      for (const what of ['ledger', 'heads', 'checkpoint'])
        await api.refused('run-not-found', `GET /runs/:runId/${what}`, { runId: 'none' })
    })

    it('prove single entries', async () => {
      const { api, runId } = open()
      const at = 'GET /runs/:runId/entries/:index/proof'
      const { json } = await api.ok(200, at, { runId, index: 3 })
      expect(JSON.parse(json.entry)).toMatchObject({ index: 3 })
      await api.refused('not-found', at, { runId, index: 99_999 })
      await api.refused('run-not-found', at, { runId: 'none', index: 0 })
    })
  })
}
