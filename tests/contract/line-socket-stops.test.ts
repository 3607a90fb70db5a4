// What a connected controller hears of stops, of the steps of its run, and of recalls.
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest'
import { type BareController, type LineHouse, openLineHouse } from '../fixtures/line-house.ts'
import { act, answered, answersOf, frame, framesFrom, fresh, onLine, ticketName } from '../fixtures/line-roll.ts'
import { demand, openRun } from '../fixtures/live-run.ts'

let house: LineHouse
beforeAll(async () => {
  house = await openLineHouse()
})
afterAll(() => house.close())

describe('stops', () => {
  const cause = { flag: 'print-version-mismatch', job: 'J7', design: 'LIME', print: '09' }

  it('are told with their causes, behind the answer that asks for one, and so is who cleared them', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'frames', seq: 1, frames: [frame(1, [fresh(), fresh('LIME', '09')])] })
    expect(await controller.got('state')).toEqual({
      type: 'state',
      state: 'stopped',
      causes: [{ cause, frame: 1, cell: 2 }],
      by: 'rollcall',
    })
    const types = controller.messages.map(({ type }) => type)
    expect(types.indexOf('answers')).toBeLessThan(types.indexOf('state'))
    expect(answersOf(controller).map(({ decision }) => decision)).toEqual(['lay', 'stop'])
    const late = await house.join(runId)
    expect(await late.got('welcome')).toMatchObject({ state: 'stopped', causes: [{ cause, frame: 1, cell: 2 }] })
    await act(house, runId, 'clear', { why: 'cut out', cause, after: 'skip-rest' })
    expect(await late.got('state')).toEqual({ type: 'state', state: 'open', causes: [], by: 'F. Lead' })
  })

  it('tell of every step of a run, to its seal', async () => {
    const runId = await openRun(house.server, ticketName())
    const controller = await house.join(runId)
    await act(house, runId, 'proving', {})
    controller.send({ type: 'frames', seq: 1, frames: [frame(0)] })
    await controller.got('accepted')
    expect(answersOf(controller).every(({ setup }) => setup)).toBe(true)
    await act(house, runId, 'prove', { lanes: [1, 2], by: 'Q. Quinn' })
    await act(house, runId, 'close', {})
    controller.send({ type: 'frames', seq: 2, frames: [frame(1)] })
    expect(await controller.got('problem')).toMatchObject({ seq: 2, problem: { code: 'run-state' } })
    controller.send({ type: 'laid', seq: 3, reports: [{ frame: 0, cell: 1, laid: 'full' }] })
    await controller.got('accepted', 2)
    await act(house, runId, 'seal', {})
    await controller.got('state', 4)
    expect(controller.all('state').map(({ state, by }) => `${state} ${by}`)).toEqual([
      'proving F. Lead',
      'open Q. Quinn',
      'closing F. Lead',
      'sealed F. Lead',
    ])
    controller.send({ type: 'laid', seq: 4, reports: [{ frame: 0, cell: 2, laid: 'full' }] })
    expect(await controller.got('problem', 2)).toMatchObject({ seq: 4, problem: { code: 'run-state' } })
    controller.send({ type: 'bye' })
    expect(await controller.ended()).toBe(1000)
    // What was answered can still be fetched.
    const later = await house.join(runId)
    await answered(later, 2)
    expect((await later.got('welcome')).state).toBe('sealed')
  })
})

describe('a recall', () => {
  it('reaches every connected controller within a second: the revocations, and one stop', async () => {
    const own = await openLineHouse()
    onTestFinished(() => own.close())
    const controllers: BareController[] = []
    for (const name of ['R1', 'R2', 'R3', 'R4']) {
      const runId = await own.provedRun(name)
      const controller = await own.join(runId, { after: (await own.run(runId)).durableSize - 1 })
      controller.send({ type: 'frames', seq: 1, frames: framesFrom(1, 20) })
      await answered(controller, 40)
      controllers.push(controller)
    }
    const startMs = performance.now()
    const target = '/jobs/J7/designs/LIME/versions/1/withdraw'
    const asked = demand(own.server.ask('POST', target, { body: { by: 'Q. Quinn', why: 'wrong varnish' } }))
    const states = await Promise.all(controllers.map((controller) => controller.got('state')))
    expect(performance.now() - startMs).toBeLessThan(1_000)
    await asked
    const causes = [{ cause: { flag: 'withdrawn', job: 'J7', design: 'LIME' } }]
    for (const state of states) expect(state).toEqual({ type: 'state', state: 'stopped', by: 'Q. Quinn', causes })
    for (const controller of controllers) {
      const revoked = controller.all('answers').flatMap(({ revocations }) => revocations)
      const laid = answersOf(controller).filter(({ decision }) => decision === 'lay')
      expect(laid).toHaveLength(40)
      // The set-up frame's labels are further back than this controller asked for, and are revoked like the others.
      const label = ({ frame, cell }: { frame: number; cell: number }) => `${frame}/${cell}`
      expect(revoked.filter(({ frame }) => frame > 0).map(({ answer }) => answer)).toEqual(
        laid.map(({ ledgerIndex }) => ledgerIndex),
      )
      expect(new Set(revoked.map(label)).size).toBe(revoked.length)
      expect(revoked.every(({ flag }) => flag === 'withdrawn')).toBe(true)
    }
  })
})
