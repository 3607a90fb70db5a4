// The typed client against a real server over real sockets: both ways of showing a key, cuts, recalls, stops, a second controller, a
// controller that starts anew.
import fc from 'fast-check'
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest'
import { WebSocket } from 'ws'
import {
  type Answer,
  type DueLabel,
  type LineClient,
  type LineOptions,
  type LineProblem,
  type LineSocketClass,
  openLine,
} from '../../src/client/index.ts'
import { systemClock } from '../../src/kernel/clock.ts'
import { closeCodes } from '../../src/protocol/index.ts'
import { systemTimer } from '../../src/queue/index.ts'
import { type LineHouse, openLineHouse } from '../fixtures/line-house.ts'
import { act, frame, framesFrom, ticketName } from '../fixtures/line-roll.ts'
import { demand, ledgerOf, pitchMm, verifyAgainst } from '../fixtures/live-run.ts'
import { until } from './fixtures/until.ts'

let house: LineHouse
const openHouse = (): Promise<LineHouse> => openLineHouse({ clock: systemClock, startTimer: systemTimer })
beforeAll(async () => {
  house = await openHouse()
})
afterAll(() => house.close())

/** A client on a run, with what it was told. */
function clientOn(runId: string, options: Partial<LineOptions> = {}) {
  const client = openLine({ url: house.bench.url, runId, controller: 'press', heartbeatMs: 200, ...options })
  onTestFinished(() => client.close())
  const answers: Answer[] = []
  const due: DueLabel[] = []
  const problems: LineProblem[] = []
  client.onAnswer((answer) => answers.push(answer))
  client.onDue((label) => due.push(label))
  client.onProblem((problem) => problems.push(problem))
  return { client, answers, due, problems }
}

/** Sockets that can be cut, as those of a browser: without headers. */
function cuttable(): { readonly WebSocket: LineSocketClass; cut(): void } {
  const sockets: WebSocket[] = []
  class Cuttable extends WebSocket {
    constructor(url: string, protocols: string[]) {
      super(url, protocols)
      sockets.push(this)
    }
  }
  return { WebSocket: Cuttable as never, cut: () => sockets.at(-1)?.terminate() }
}

const isOpen = (client: LineClient) => until(() => client.connection.state === 'open')
const travel = (client: LineClient, fromMm: number, toMm: number): void => {
  for (let mm = fromMm; mm <= toMm; mm += pitchMm) client.position(mm)
}
const key = ({ frame, cell }: { frame: number; cell: number }): string => `${frame}/${cell}`

describe('a controller on the client', () => {
  it('sends frames, lays what comes due, and reports it', async () => {
    const runId = await house.provedRun(ticketName())
    const { client, answers, due, problems } = clientOn(runId)
    expect(await client.frames([...framesFrom(1, 4), frame(5, [null, null])])).toEqual({ accepted: 5, pending: [] })
    await until(() => answers.length === 12)
    const noReturnAfterMm = client.welcome!.cells[0]!.noReturnAfterMm
    travel(client, 5 * pitchMm, 5 * pitchMm + noReturnAfterMm + pitchMm)
    // Frame 0 was sent by somebody else before this client came: its labels are not this one's.
    expect(due.map((label) => [key(label), label.decision === 'skip' ? label.because : 'lay'])).toEqual([
      ...[1, 2, 3, 4].flatMap((i) => [
        [`${i}/1`, 'lay'],
        [`${i}/2`, 'lay'],
      ]),
      ...[
        ['5/1', 'answered'],
        ['5/2', 'answered'],
      ],
    ])
    const laid = due.flatMap(({ frame, cell, decision }) =>
      decision === 'skip' ? [] : [{ frame, cell, laid: 'full' as const }],
    )
    expect(await client.laid(laid)).toMatchObject({ accepted: 8 })
    const ledger = await ledgerOf(house.server, runId)
    expect(ledger.entries.filter(({ type }) => type === 'laid').map(({ body }) => key(body))).toEqual(laid.map(key))
    expect((await verifyAgainst(ledger, answers)).ok).toBe(true)
    expect(problems).toEqual([])
  })

  it('is told by a rejected promise and a listener what the server refuses, and goes on', async () => {
    const runId = await house.provedRun(ticketName())
    const { client, problems } = clientOn(runId)
    await client.frames(frame(1))
    await expect(client.frames({ ...frame(900), positionMm: 60 })).rejects.toMatchObject({ code: 'frame-leap' })
    await expect(client.laid({ frame: 7, cell: 1, laid: 'full' })).rejects.toMatchObject({ code: 'label-not-answered' })
    expect(await client.frames(frame(2))).toMatchObject({ accepted: 1 })
    expect(problems.map(({ kind }) => kind)).toEqual(['refused', 'refused'])
  })

  it('takes up where it was after every cut: same ledger, each answer once, each report once', async () => {
    await fc.assert(
      fc.asyncProperty(fc.array(fc.integer({ min: 0, max: 60 }), { minLength: 4, maxLength: 12 }), async (cutsAt) => {
        const runId = await house.provedRun(ticketName())
        const wire = cuttable()
        const { client, answers } = clientOn(runId, { WebSocket: wire.WebSocket, random: () => 0 })
        const events = framesFrom(1, 60)
        const promises: Promise<unknown>[] = []
        let heard = 0
        client.onAnswer(() => {
          if (cutsAt.includes(heard++ % 61)) wire.cut()
        })
        for (const event of events) {
          promises.push(client.frames(event))
          if (event.frame % 7 === 0) promises.push(client.frames(event))
          if (cutsAt.includes(event.frame)) {
            await Promise.race([promises.at(-1), isOpen(client)])
            wire.cut()
          }
        }
        await Promise.all(promises)
        await until(() => answers.length >= 122)
        const own = answers.filter(({ frame, decision }) => frame > 0 && decision === 'lay')
        const reports = own.map(({ frame, cell }) => ({ frame, cell, laid: 'full' as const }))
        const reported = [client.laid(reports.slice(0, 50)), client.laid(reports.slice(50))]
        wire.cut()
        await Promise.all(reported)
        const ledger = await ledgerOf(house.server, runId)
        const of = (type: string) => ledger.entries.filter((entry) => entry.type === type).map(({ body }) => body)
        expect(of('frame').map(({ frame }) => frame)).toEqual([0, ...events.map(({ frame }) => frame)])
        expect(answers.map(key)).toEqual(of('answer').map(key))
        expect(of('laid').map(key).toSorted()).toEqual(reports.map(key).toSorted())
        expect((await verifyAgainst(ledger, answers)).ok).toBe(true)
        await client.close()
      }),
      { numRuns: 5 },
    )
  })

  it('that starts anew lays again only what it says is before its head', async () => {
    const runId = await house.provedRun(ticketName())
    const events = framesFrom(1, 3)
    const before = clientOn(runId)
    await before.client.frames(events)
    await before.client.close()
    const { client, answers, due } = clientOn(runId)
    await until(() => answers.length === 8)
    client.position(4 * pitchMm)
    expect(client.decide(1, 1)).toBe('skip')
    await client.frames(events.slice(1))
    expect([1, 2, 3].map((i) => client.decide(i, 1) !== 'skip')).toEqual([false, true, true])
    travel(client, 4 * pitchMm, 4 * pitchMm + client.welcome!.cells[0]!.noReturnAfterMm)
    expect(due.map((label) => [key(label), label.decision !== 'skip'])).toEqual(
      ['2/1', '2/2', '3/1', '3/2'].map((label) => [label, true]),
    )
    const kept = clientOn(runId, { controller: 'press', after: client.cursor })
    await isOpen(kept.client)
    await kept.client.frames(frame(4))
    await until(() => kept.answers.length === 2)
    expect(kept.answers.map(({ frame }) => frame)).toEqual([4, 4])
    // The same name took its own place; the one before does not come back.
    await until(() => client.connection.state === 'ended')
    expect(client.connection).toMatchObject({ because: 'refused', code: closeCodes.replaced })
  })

  it('waits while another has the run, and gets it when that one goes', async () => {
    const runId = await house.provedRun(ticketName())
    const one = clientOn(runId)
    await isOpen(one.client)
    const two = clientOn(runId, { controller: 'other', random: () => 0 })
    await until(() => two.problems.length > 0)
    expect(two.problems[0]).toMatchObject({ kind: 'refused', problem: { code: 'controller-busy' } })
    const given = two.client.frames(frame(1))
    await one.client.close()
    expect(await given).toMatchObject({ accepted: 1 })
  })
})

describe('a recall and a stop', () => {
  it('reach the client: what was held is skipped, and a named person clears the stop', async () => {
    const runId = await house.provedRun(ticketName())
    const { client, answers } = clientOn(runId)
    const states: [string, string | undefined][] = []
    client.onState(({ state, by }) => states.push([state, by]))
    const revoked: string[] = []
    client.onRevocation((revocation) => revoked.push(key(revocation)))
    await client.frames(framesFrom(1, 2))
    await until(() => answers.length === 6)
    expect(client.decide(1, 1)).not.toBe('skip')
    const { design, version } = answers.at(-1)!.identity!
    const body = { by: 'Q. Auditor', why: 'wrong gold' }
    await demand(house.server.ask('POST', `/jobs/J7/designs/${design}/versions/${version}/withdraw`, { body }))
    await until(() => client.state?.state === 'stopped' && revoked.length >= 4)
    expect(client.decide(1, 1)).toBe('skip')
    expect(revoked).toEqual(expect.arrayContaining(['1/1', '1/2', '2/1', '2/2']))
    const [open] = client.state!.causes
    expect(open).toMatchObject({ cause: { flag: 'withdrawn', design } })
    await act(house, runId, 'clear', { why: 'looked', cause: open!.cause, after: 'skip-rest' })
    await until(() => client.state?.state === 'open')
    expect(states.at(-1)).toEqual(['open', 'F. Lead'])
  })
})

describe('who may not in', () => {
  it('is told so for good where there is no such run', async () => {
    const { client, problems } = clientOn('T-none.1')
    const given = client.frames(frame(1))
    await expect(given).rejects.toMatchObject({ code: 'line-closed' })
    expect(client.connection).toMatchObject({ state: 'ended', because: 'refused', code: closeCodes.noRun })
    expect(problems[0]).toMatchObject({ problem: { code: 'run-not-found' } })
  })

  it('needs a key once there are keys, as a header or as a subprotocol', async () => {
    const keyed = await openHouse()
    onTestFinished(() => keyed.close())
    const runId = await keyed.provedRun(ticketName())
    const { keys } = keyed.bench.parts
    const { text } = await keys.createKey({ role: 'line', line: 'L7', createdBy: 'A. Admin' })
    const url = keyed.bench.url
    const plain = clientOn(runId, { url, key: text })
    await isOpen(plain.client)
    await plain.client.close()
    const browser = clientOn(runId, { url, key: text, WebSocket: cuttable().WebSocket })
    expect(await browser.client.frames(frame(1))).toMatchObject({ accepted: 1 })
    for (const options of [{}, { key: 'rck-no-such-key' }]) {
      const { client } = clientOn(runId, { url, ...options })
      await until(() => client.connection.state === 'ended')
      expect(client.connection).toMatchObject({ because: 'refused', code: closeCodes.unauthorized })
    }
  })
})
