// The WebSocket of a run over real sockets: hello and welcome, frames and answers, laid reports, cursors, the window.
import type { Socket } from 'node:net'
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest'
import type { Answer } from '../../src/protocol/index.ts'
import { type BareController, type LineHouse, opened, openLineHouse } from '../fixtures/line-house.ts'
import { answered, answersOf, frame, framesFrom, fresh, labels, onLine, ticketName } from '../fixtures/line-roll.ts'
import { demand, frameOf, lineProfile, proveRun, ticketOf } from '../fixtures/live-run.ts'
import { until } from './fixtures/until.ts'

let house: LineHouse
beforeAll(async () => {
  house = await openLineHouse()
})
afterAll(() => house.close())

/** Below the WebSocket. */
const socketOf = ({ socket }: BareController): Socket => (socket as unknown as { _socket: Socket })._socket

describe('hello', () => {
  it('is answered with the run as it is', async () => {
    const { runId, controller } = await onLine(house)
    const run = await house.run(runId)
    expect(controller.messages[0]).toEqual({
      type: 'welcome',
      protocol: 1,
      runId,
      state: 'open',
      cursor: run.durableSize - 1,
      heartbeatMs: 1_000,
      silenceMs: 3_000,
      windowFrames: 1_024,
      pitchMm: 30,
      cells: [
        { cell: 1, lane: 1, row: 1, noReturnAfterMm: expect.any(Number) },
        { cell: 2, lane: 2, row: 1, noReturnAfterMm: expect.any(Number) },
      ],
      causes: [],
      atMs: house.held.clock.nowMs(),
    })
  })

  it('says how often the controller will be heard of, and so when it is silent', async () => {
    const { controller } = await onLine(house, { heartbeatMs: 200 })
    expect(await controller.got('welcome')).toMatchObject({ heartbeatMs: 200, silenceMs: 600 })
  })

  it.each([
    ['another message', { type: 'heartbeat' }, 'bad-request', '/type'],
    [
      'another version of the protocol',
      { type: 'hello', protocol: 2, controller: 'p', after: -1 },
      'bad-request',
      '/protocol',
    ],
    [
      'a cursor that the run has not reached',
      { type: 'hello', protocol: 1, controller: 'p', after: 9_999 },
      'bad-request',
      '/after',
    ],
    ['what fits no schema', { type: 'hello', protocol: 1, controller: '', after: -1 }, 'bad-request', undefined],
    ['what is no JSON', 'hello', 'body-not-json', undefined],
    ['bytes', Buffer.from('{}'), 'wrong-media-type', undefined],
  ])('is not %s', async (_, message, problem, pointer) => {
    const controller = house.connect(await house.provedRun(ticketName()))
    await opened(controller)
    controller.send(message)
    const told = await controller.got('problem')
    expect([told.problem.code, told.problem.pointer]).toEqual([problem, pointer])
    expect(await controller.ended()).toBe(4400)
  })

  it('is waited for five seconds', async () => {
    const controller = house.connect(await house.provedRun(ticketName()))
    await opened(controller)
    house.held.advance(4_900)
    controller.send({ type: 'hello', protocol: 1, controller: 'press', after: -1 })
    await controller.got('welcome')
    const mute = house.connect(await house.provedRun(ticketName()))
    await opened(mute)
    await until(() => house.held.timers().includes(5_000))
    house.held.advance(5_000)
    expect(await mute.ended()).toBe(4400)
  })

  it('may be followed at once by frames, in one write', async () => {
    const runId = await house.provedRun(ticketName())
    const controller = house.connect(runId)
    await opened(controller)
    const after = (await house.run(runId)).durableSize - 1
    socketOf(controller).cork()
    controller.send({ type: 'hello', protocol: 1, controller: 'press', after })
    for (const seq of [1, 2, 3]) controller.send({ type: 'frames', seq, frames: [frame(seq)] })
    socketOf(controller).uncork()
    await controller.got('accepted', 3)
    await answered(controller, 6)
    expect(labels(answersOf(controller))).toEqual(['1/1', '1/2', '2/1', '2/2', '3/1', '3/2'])
  })

  it('is said once', async () => {
    const { controller } = await onLine(house)
    controller.send({ type: 'hello', protocol: 1, controller: 'press', after: -1 })
    expect((await controller.got('problem')).problem.code).toBe('bad-request')
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
  })
})

describe('frames', () => {
  it('are accepted with their seq and answered in order, with the very answers that HTTP gives', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'frames', seq: 7, frames: framesFrom(1, 3) })
    controller.send({ type: 'frames', seq: 8, frames: [frame(4, [null, fresh()])] })
    await controller.got('accepted', 2)
    await answered(controller, 8)
    expect(controller.all('accepted')).toEqual([
      { type: 'accepted', seq: 7, accepted: 3 },
      { type: 'accepted', seq: 8, accepted: 1 },
    ])
    const { json } = await house.server.ask('GET', `/runs/${runId}/answers`)
    expect(answersOf(controller)).toEqual(json.answers.filter((answer: Answer) => answer.frame > 0))
    expect(answersOf(controller).map(({ decision }) => decision)).toEqual([
      'lay',
      'lay',
      'lay',
      'lay',
      'lay',
      'lay',
      'skip',
      'lay',
    ])
    expect(controller.all('answers').at(-1)?.cursor).toBe(json.cursor)
  })

  it('that come over HTTP are answered on the socket as well', async () => {
    const { runId, controller } = await onLine(house)
    await demand(house.server.ask('POST', `/runs/${runId}/frames`, { body: framesFrom(1, 2) }))
    await answered(controller, 4)
    expect(labels(answersOf(controller))).toEqual(['1/1', '1/2', '2/1', '2/2'])
    expect(controller.all('accepted')).toEqual([])
  })

  it('that come again are accepted again and change nothing', async () => {
    const { runId, controller } = await onLine(house)
    const frames = framesFrom(1, 2)
    controller.send({ type: 'frames', seq: 1, frames })
    await controller.got('accepted')
    const { durableSize } = await house.run(runId)
    controller.send({ type: 'frames', seq: 2, frames })
    await controller.got('accepted', 2)
    expect((await house.run(runId)).durableSize).toBe(durableSize)
    expect(labels(answersOf(controller))).toHaveLength(4)
  })

  it('that are refused leave nothing, and say why with their seq', async () => {
    const { runId, controller } = await onLine(house)
    const before = (await house.run(runId)).durableSize
    controller.send({ type: 'frames', seq: 1, frames: [frame(1), frameOf(2, ['a', 'b', 'c'])] })
    controller.send({ type: 'frames', seq: 2, frames: [frame(9_000)] })
    controller.send({ type: 'laid', seq: 3, reports: [{ frame: 5, cell: 1, laid: 'full' }] })
    controller.send({ type: 'frames', seq: 4, frames: [{ frame: -1 }] })
    await controller.got('problem', 4)
    expect(controller.all('problem').map(({ seq, problem }) => [seq, problem.code])).toEqual(
      expect.arrayContaining([
        [1, 'cell-unknown'],
        [2, 'frame-leap'],
        [3, 'label-not-answered'],
        [4, 'bad-request'],
      ]),
    )
    expect(controller.all('problem')[0]?.problem).toMatchObject({
      type: expect.stringMatching('/api/v1/problems/'),
      title: expect.any(String),
    })
    expect((await house.run(runId)).durableSize).toBe(before)
  })

  it('beyond the window are not taken, and those within it are', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'frames', seq: 1, frames: framesFrom(1, 1_000) })
    controller.send({ type: 'frames', seq: 2, frames: framesFrom(1_001, 25) })
    controller.send({ type: 'frames', seq: 3, frames: framesFrom(1_001, 24) })
    await controller.got('accepted', 2)
    expect(controller.all('accepted').map(({ seq }) => seq)).toEqual([1, 3])
    const refused = await controller.got('problem')
    expect([refused.seq, refused.problem]).toEqual([
      2,
      expect.objectContaining({ code: 'window-exceeded', measured: 1_025, limit: 1_024, retry: 'later' }),
    ])
    await answered(controller, 2_048)
    expect((await house.run(runId)).state.lastFrame).toBe(1_024)
    // What was accepted makes room again.
    controller.send({ type: 'frames', seq: 4, frames: framesFrom(1_025, 1_024) })
    await controller.got('accepted', 3)
    expect(controller.all('answers').every(({ answers }) => answers.length <= 1_024)).toBe(true)
  })
})

describe('laid reports', () => {
  it('are accepted when they are recorded', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
    const reports = [
      { frame: 1, cell: 1, laid: 'full' },
      { frame: 1, cell: 2, laid: 'none' },
    ]
    controller.send({ type: 'laid', seq: 2, reports })
    controller.send({ type: 'laid', seq: 3, reports })
    await controller.got('accepted', 3)
    expect((await house.run(runId)).state.counts.laid).toEqual({ full: 1, part: 0, none: 1, unknown: 0 })
    controller.send({ type: 'laid', seq: 4, reports: [{ frame: 1, cell: 1, laid: 'part' }] })
    expect(await controller.got('problem')).toMatchObject({ seq: 4, problem: { code: 'laid-conflict' } })
  })
})

describe('an outlook', () => {
  it('follows the answers where the ticket has a sequence, and names layers that can be fetched', async () => {
    const own = await openLineHouse()
    onTestFinished(() => own.close())
    const codes = Array.from({ length: 60 }, (_, i) => [fresh(i % 2 === 0 ? 'PLUM' : 'LIME'), fresh()])
    const rows = codes.flatMap((row, position) => row.map((text, i) => `${position},${i + 1},${text}`))
    const headers = { 'content-type': 'text/csv' }
    const raw = ['position,cell,code', ...rows, ''].join('\n')
    const { json } = await demand(own.server.ask('POST', '/sequences', { raw, headers }))
    await demand(own.server.ask('PUT', '/lines/L7', { body: lineProfile() }))
    const ticket = { ...ticketOf('Q1'), sequence: { sha256: json.sha256 } }
    await demand(own.server.ask('PUT', '/tickets/Q1', { body: ticket }))
    const opening = { ticket: 'Q1', line: 'L7', by: 'F. Lead' }
    const { runId } = (await demand(own.server.ask('POST', '/runs', { body: opening }))).json
    await proveRun(own.server, runId)
    const controller = await own.join(runId)
    await own.bench.parts.runs.expected((await own.run(runId)).state)
    for (const number of [1, 2]) {
      controller.send({ type: 'frames', seq: number, frames: [frame(number, codes[number + 9]!)] })
      await controller.got('accepted', number)
    }
    const { place, labels: next } = await controller.got('outlook')
    expect([place, next.length, next[0]?.design, next[2]?.design]).toEqual([2, 64, 'LIME', 'PLUM'])
    const layers = new Set(next.flatMap((label) => label.layers))
    expect(layers.size).toBeGreaterThan(0)
    for (const digest of layers) expect((await own.server.ask('GET', `/layers/${digest}`)).status).toBe(200)
    expect(controller.all('outlook')).toHaveLength(1)
  })
})

describe('a cursor', () => {
  it('brings all that came after it, and nothing twice', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'frames', seq: 1, frames: framesFrom(1, 400) })
    await answered(controller, 800)
    const { answers: some, cursor } = controller.all('answers')[0]!
    controller.cut()
    const again = await house.join(runId, { after: cursor })
    const all = await house.join(runId, { after: -1, controller: 'press' })
    await answered(all, 802)
    expect(await again.ended()).toBe(4410)
    expect(labels(answersOf(all))).toEqual(labels(answersOf(all)).filter((label, i, list) => list.indexOf(label) === i))
    const rest = await house.join(runId, { after: cursor })
    await answered(rest, 800 - some.length)
    expect([...labels(some), ...labels(answersOf(rest))]).toEqual(labels(answersOf(controller)))
  })

  it('is told with every heartbeat, also where the ledger grew by other things than answers', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
    controller.send({ type: 'laid', seq: 2, reports: [{ frame: 1, cell: 1, laid: 'full' }] })
    await controller.got('accepted', 2)
    house.held.advance(1_000)
    const { cursor, atMs } = await controller.got('heartbeat')
    expect([cursor, atMs]).toEqual([(await house.run(runId)).durableSize - 1, house.held.clock.nowMs()])
  })
})

describe('metrics', () => {
  it('count connections, messages by type, and the time to answers', async () => {
    const own = await openLineHouse()
    onTestFinished(() => own.close())
    const { controller } = await onLine(own)
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
    controller.send({ type: 'laid', seq: 2, reports: [{ frame: 1, cell: 1, laid: 'full' }] })
    controller.send({ type: 'laid', seq: 3, reports: [] })
    await controller.got('accepted', 2)
    await controller.got('problem')
    const lines = async () => {
      const { text } = await own.bench.ask('GET', '/metrics')
      return text
        .split('\n')
        .filter((line) => /^rollcall_line_(connections|messages_total|answer_seconds_count)/.test(line))
    }
    const counted = (direction: string, type: string) =>
      `rollcall_line_messages_total{direction="${direction}",type="${type}"} 1`
    expect((await lines()).toSorted()).toEqual([
      'rollcall_line_answer_seconds_count 1',
      'rollcall_line_connections 1',
      counted('in', 'frames'),
      counted('in', 'hello'),
      counted('in', 'laid'),
      counted('in', 'unreadable'),
      `${counted('out', 'accepted').slice(0, -1)}2`,
      counted('out', 'answers'),
      counted('out', 'problem'),
      counted('out', 'welcome'),
    ])
    controller.send({ type: 'bye' })
    await controller.ended()
    expect(await lines()).toContain('rollcall_line_connections 0')
  })
})
