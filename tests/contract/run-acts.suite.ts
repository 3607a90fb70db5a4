// A run's set-up, the events of its material and its next ticket over HTTP.
import { describe, expect, it } from 'vitest'
import type { Conformance } from '../fixtures/conformance.ts'
import { code, frameOf, pitchMm, ticketOf } from '../fixtures/live-run.ts'

const by = 'L. Lead'

/** To be run where line L7 is stored and design LIME of job J7 is released; lists of runs grow by one. */
export function runActsSuite(of: () => Conformance): void {
  let runId: string
  const act = (name: string, body: object = { by }) => of().ok(200, `POST /runs/:runId/${name}`, { runId }, { body })
  const material = (body: object) => act('material', { by, ...body })
  const frames = async (...numbers: number[]) => {
    const body = numbers.map((i) => frameOf(i, [code('LIME', 500 + i), code('LIME', 700 + i)]))
    return (await of().ok(200, 'POST /runs/:runId/frames', { runId }, { body })).json
  }

  describe('set-up of a run', () => {
    it('is proved by a label of each lane that was laid, and shown with it', async () => {
      await of().ok(200, 'PUT /tickets/:ticket', { ticket: 'T20' }, { body: ticketOf('T20') })
      const order = { ticket: 'T20', line: 'L7', by, why: 'in spite of a recall', override: true }
      runId = (await of().ok(201, 'POST /runs', {}, { body: order })).json.runId
      await act('proving')
      await frames(0, 1)
      const prove = 'POST /runs/:runId/prove'
      await of().refused('bad-request', prove, { runId }, { body: { by } })
      const wrong = [{ lane: 2, frame: 0, cell: 1 }]
      await of().refused('lanes-not-proved', prove, { runId }, { body: { by, lanes: [1], compared: wrong } })
      const compared = [
        { lane: 1, frame: 1, cell: 1 },
        { lane: 2, frame: 0, cell: 2 },
      ]
      expect((await act('prove', { by, second: 'Q. Auditor', compared })).json.state).toBe('open')
      const at = 'GET /runs/:runId/set-up'
      const { json } = await of().ok(200, at, { runId }, { query: { labels: 'true' } })
      expect(json).toMatchObject({ runId, labels: 4, webM: (2 * pitchMm) / 1000 })
      expect(json.sections).toMatchObject([
        {
          reason: 'first',
          frames: 2,
          proved: { by, second: 'Q. Auditor', lanes: [1, 2], compared },
          list: [{}, {}, {}, {}],
        },
      ])
      expect(json.sections[0].proved.compared[1].code).toBe(code('LIME', 700))
      const { sections } = (await of().ok(200, at, { runId })).json
      expect(sections[0].list).toBeUndefined()
      await of().refused('run-not-found', at, { runId: 'none' })
    })

    it('is asked for again where the mark count slipped', async () => {
      await frames(2)
      const body = frameOf(3, [code('LIME', 503), code('LIME', 703)], 3.4 * pitchMm)
      await of().ok(200, 'POST /runs/:runId/frames', { runId }, { body })
      const { json } = await of().ok(200, 'GET /runs/:runId', { runId })
      expect(json).toMatchObject({
        state: 'proving',
        provableLanes: [],
        proving: { again: 'slipped-count', frames: 0 },
      })
      for (const { cause } of json.causes) await act('clear', { by, why: 'counted', cause, after: 'resume' })
      const next = frameOf(4, [code('LIME', 504), code('LIME', 704)], 4.4 * pitchMm)
      await of().ok(200, 'POST /runs/:runId/frames', { runId }, { body: next })
      const view = (await act('prove', { by, lanes: [1, 2] })).json
      expect([view.state, view.proving]).toEqual(['open', undefined])
    })
  })

  describe('the next ticket', () => {
    it('holds from the next frame on where its frame is the same', async () => {
      const change = 'POST /runs/:runId/ticket'
      const order = { by, why: 'next order', override: true }
      await of().ok(200, 'PUT /tickets/:ticket', { ticket: 'T21' }, { body: { ...ticketOf('T21'), roll: 'T20-R1' } })
      await of().ok(200, 'PUT /tickets/:ticket', { ticket: 'T22' }, { body: { ...ticketOf('T22'), pass: 2 } })
      await of().refused('bad-request', change, { runId }, { body: { ...order, ticket: 'T21', why: undefined } })
      await of().refused('ticket-needs-new-run', change, { runId }, { body: { ...order, ticket: 'T22' } })
      await of().refused('ticket-not-found', change, { runId }, { body: { ...order, ticket: 'none' } })
      await of().refused('not-ready', change, { runId }, { body: { ...order, ticket: 'T21', override: false } })
      expect((await act('ticket', { ...order, ticket: 'T21' })).json).toMatchObject({ state: 'open', ticket: 'T21' })
      await of().refused('run-state', change, { runId }, { body: { ...order, ticket: 'T21' } })
    })
  })

  describe('events of finished rolls', () => {
    const refused = (code: Parameters<Conformance['refused']>[0], body: object) =>
      of().refused(code, 'POST /runs/:runId/material', { runId }, { body: { by, ...body } })

    it('are recorded, refused with what is wrong, and voided', async () => {
      await refused('bad-request', { event: 'split', roll: 'A' })
      await refused('bad-request', { event: 'splice', roll: 'A' })
      await refused('bad-request', { event: 'foil', station: 'foil', leftMm: 0 })
      await refused('material-position', { event: 'split', roll: 'A', positionMm: 9_000 })
      await material({ event: 'split', roll: 'A', positionMm: 60 })
      await refused('roll-name-taken', { event: 'split', roll: 'A', positionMm: 90 })
      await refused('slit-lanes', { event: 'slit', roll: 'A', laneRolls: [{ roll: 'A1', lanes: [1] }] })
      await refused('roll-unknown', { event: 'rewind', roll: 'B' })
      await material({ event: 'rewind' })
      await material({ event: 'cut-out', positionMm: 10, toPositionMm: 20 })
      await refused('cut-out-overlap', { event: 'cut-out', positionMm: 15, toPositionMm: 25 })
      await material({ event: 'foil', station: 'foil' })
      await material({ event: 'foil', station: 'foil', foil: 'gold', leftMm: 0, widthMm: 25 })
      await refused('reel-place', { event: 'foil', station: 'foil', foil: 'red', leftMm: 20, widthMm: 25 })
    })

    it('are taken until the run is sealed, those of the line no more', async () => {
      await act('close')
      const laneRolls = [1, 2].map((lane) => ({ roll: `A${lane}`, lanes: [lane] }))
      await material({ event: 'slit', roll: 'A', laneRolls })
      const { text } = await of().ok(200, 'GET /runs/:runId/ledger', { runId })
      const entries = text
        .trimEnd()
        .split('\n')
        .map((line) => JSON.parse(line))
      const slit = entries.findLast(({ type }) => type === 'material')
      expect(slit.body).toEqual({ event: 'slit', roll: 'A', laneRolls, by })
      await material({ event: 'void', voids: slit.index, note: 'other lanes' })
      await refused('material-not-voidable', { event: 'void', voids: slit.index })
      await refused('run-state', { event: 're-thread' })
      await act('seal')
      await refused('run-state', { event: 'rewind', roll: 'A' })
    })
  })
}
