// The client against the other side on paper: greeting, coming back, repeating, waiting for room, heartbeats, silence.
import { describe, expect, it } from 'vitest'
import { begin, frameAt, opened, turn } from '../../tests/fixtures/paper-client.ts'
import { heartbeatMs, silenceMs } from '../../tests/fixtures/paper-line.ts'
import { closeCodes } from '../protocol/index.ts'

describe('connecting', () => {
  it('greets with name and cursor, and is open with the welcome', async () => {
    const { paper, client } = await begin({ after: 17, heartbeatMs: 500 })
    expect(client.connection.state).toBe('connecting')
    expect(client.state).toBeUndefined()
    paper.carryAll()
    expect(paper.hellos).toMatchObject([{ protocol: 1, controller: 'plc-1', after: 17, heartbeatMs: 500 }])
    expect(client.connection.state).toBe('open')
    expect([client.welcome?.pitchMm, client.state?.state]).toEqual([30, 'open'])
  })

  it('comes back after a cut and goes on from the last cursor', async () => {
    const { paper, client, connect, states } = await opened()
    const given = client.frames([frameAt(0), frameAt(1)])
    paper.carryAll()
    expect(await given).toEqual({ accepted: 2, pending: [] })
    expect(client.cursor).toBe(5)
    paper.socket.end(1006)
    expect(client.connection).toMatchObject({ state: 'away', code: 1006, retryMs: 50 })
    await connect()
    expect(paper.hellos.map(({ after }) => after)).toEqual([-1, 5])
    expect(states).toEqual(['open', 'away', 'connecting', 'open'])
  })

  it('waits longer after every failure until something is done', async () => {
    const { paper, clock, client } = await begin()
    const pauses: number[] = []
    client.onConnection((status) => status.state === 'away' && pauses.push(status.retryMs))
    for (let i = 0; i < 4; i++) {
      paper.socket.end(1006)
      clock.fireNext()
      await turn()
    }
    paper.carryAll()
    paper.socket.end(1006)
    clock.fireNext()
    await turn()
    paper.carryAll()
    paper.send({ type: 'heartbeat', atMs: 0, cursor: -1 })
    paper.carryAll()
    paper.socket.end(1006)
    expect(pauses).toEqual([50, 100, 200, 400, 800, 50])
  })

  it('gives up a server that opens the socket and says nothing', async () => {
    const { paper, clock, client } = await begin()
    paper.socket.open()
    clock.advance(5_000)
    expect(client.connection).toMatchObject({ state: 'away', reason: 'no welcome within 5000 ms' })
    expect(paper.socket.isClosed).toBe(true)
  })

  it('tries again where no socket can be opened at all', async () => {
    class Failing {
      constructor() {
        throw new Error('no route')
      }
    }
    const { client } = await begin({ WebSocket: Failing as never })
    expect(client.connection).toMatchObject({ state: 'away', reason: 'no route' })
  })

  it.each([closeCodes.unauthorized, closeCodes.forbidden, closeCodes.noRun, closeCodes.badHello, closeCodes.replaced])(
    'ends for good with code %i, and every call fails',
    async (code) => {
      const { paper, clock, client } = await begin()
      const given = client.frames(frameAt(0))
      paper.socket.end(code, 'why')
      expect(client.connection).toEqual({ state: 'ended', because: 'refused', code, reason: 'why' })
      await expect(given).rejects.toMatchObject({ code: 'line-closed' })
      await expect(client.laid({ frame: 0, cell: 1, laid: 'full' })).rejects.toMatchObject({ code: 'line-closed' })
      expect(clock.fireNext()).toBe(false)
    },
  )

  it.each([closeCodes.busy, closeCodes.silent, closeCodes.slow, closeCodes.shuttingDown])(
    'comes back after code %i',
    async (code) => {
      const { paper, client, connect } = await opened()
      paper.socket.end(code)
      await connect()
      expect(client.connection.state).toBe('open')
    },
  )

  it('ends where the run is sealed and the server hangs up', async () => {
    const { paper, client } = await opened()
    paper.send({ type: 'state', state: 'sealed', causes: [], by: 'L. Lead' })
    paper.carryAll()
    paper.socket.end(1000)
    expect(client.connection).toMatchObject({ state: 'ended', because: 'over' })
  })
})

describe('heartbeats', () => {
  it('are sent as often as the welcome says, with the position of the encoder', async () => {
    const { paper, clock, client } = await opened()
    client.position(12.5)
    clock.advance(heartbeatMs)
    expect(paper.socket.toServer.map((text) => JSON.parse(text))).toMatchObject([
      { type: 'heartbeat', positionMm: 12.5 },
    ])
  })

  it('that stop coming end the connection', async () => {
    const { paper, clock, client } = await opened()
    const codes: number[] = []
    client.onConnection((status) => status.state === 'away' && codes.push(status.code))
    clock.advance(2_500)
    paper.send({ type: 'heartbeat', atMs: 0, cursor: -1 })
    paper.carryAll()
    clock.advance(silenceMs - 100)
    expect(client.connection.state).toBe('open')
    clock.advance(heartbeatMs)
    expect(codes).toEqual([closeCodes.silent])
  })
})

describe('frames and laid reports', () => {
  it('wait while away and go out in their order, what was under way first', async () => {
    const { paper, client, connect } = await opened()
    const first = client.frames(frameAt(0))
    paper.socket.end(1006)
    const second = client.frames([frameAt(1), frameAt(2)])
    const report = client.laid({ frame: 0, cell: 1, laid: 'full' })
    expect(client.waiting).toEqual({ frames: 3, reports: 1 })
    await connect()
    expect(await Promise.all([first, second, report])).toMatchObject([
      { accepted: 1 },
      { accepted: 2 },
      { accepted: 1 },
    ])
    expect([paper.frames, paper.laid]).toEqual([[0, 1, 2], ['0/1']])
    expect(client.waiting).toEqual({ frames: 0, reports: 0 })
  })

  it('that were recorded before the cut are recorded once', async () => {
    const { paper, client, connect } = await opened()
    const given = client.frames(frameAt(0))
    paper.takeOne()
    paper.socket.end(1006)
    await connect()
    expect(await given).toMatchObject({ accepted: 1 })
    expect(paper.frames).toEqual([0])
  })

  it('never go beyond the window', async () => {
    const { paper, client } = await begin()
    paper.windowFrames = 4
    paper.carryAll()
    const underWay = (): number =>
      paper.socket.toServer.map((text) => JSON.parse(text).frames.length).reduce((sum, count) => sum + count, 0)
    const given = [0, 1, 2, 3, 4].map((i) => client.frames([frameAt(3 * i), frameAt(3 * i + 1), frameAt(3 * i + 2)]))
    const large = client.frames(Array.from({ length: 10 }, (_, i) => frameAt(100 + i)))
    for (let i = 0; i < 40; i++) {
      expect(underWay()).toBeLessThanOrEqual(4)
      paper.takeOne()
      paper.giveOne()
    }
    await Promise.all([...given, large])
    expect(paper.frames).toHaveLength(25)
  })

  it('are refused whole where the buffer is full, and that is said', async () => {
    const { client, problems } = await begin({ framesMax: 2, reportsMax: 1 })
    const kept = client.frames([frameAt(0), frameAt(1)])
    await expect(client.frames(frameAt(2))).rejects.toMatchObject({ code: 'outbox-full', place: { limit: 2 } })
    const report = { frame: 0, cell: 1, laid: 'full' } as const
    await expect(client.laid([report, { ...report, cell: 2 }])).rejects.toMatchObject({ code: 'outbox-full' })
    expect(problems.map(({ kind }) => kind)).toEqual(['full', 'full'])
    expect(client.waiting).toEqual({ frames: 2, reports: 0 })
    await client.close()
    await expect(kept).rejects.toMatchObject({ code: 'line-closed' })
  })

  it('that do not fit are refused before anything is sent', async () => {
    const { client, paper } = await opened()
    await expect(client.frames([frameAt(0), { ...frameAt(1), frame: -1 }])).rejects.toMatchObject({
      code: 'bad-request',
      place: { pointer: '/1/frame' },
    })
    await expect(client.laid({ frame: 0, cell: 1, laid: 'maybe' as never })).rejects.toMatchObject({
      code: 'bad-request',
    })
    expect(() => client.position(Number.NaN)).toThrow()
    expect(paper.socket.toServer).toEqual([])
  })

  it('that the server refuses for good fail by themselves', async () => {
    const { client, paper, problems } = await opened()
    const bad = client.frames(frameAt(0))
    const good = client.frames(frameAt(1))
    paper.socket.toServer.shift()
    const problem = { type: '/p', title: 't', status: 409, code: 'frame-leap', detail: 'too far' } as const
    paper.send({ type: 'problem', seq: 0, problem })
    paper.carryAll()
    await expect(bad).rejects.toMatchObject({ code: 'frame-leap', message: 'too far' })
    expect(await good).toMatchObject({ accepted: 1 })
    expect(problems).toMatchObject([{ kind: 'refused', seq: 0, problem: { code: 'frame-leap' } }])
  })

  it('that the server can take later go out again in their order, after a pause', async () => {
    const { client, paper, connect } = await opened()
    const given = [client.frames(frameAt(0)), client.frames(frameAt(1))]
    paper.socket.toServer.shift()
    const problem = { type: '/p', title: 't', status: 503, code: 'ledger-unavailable', detail: 'wait' } as const
    paper.send({ type: 'problem', seq: 0, problem })
    paper.giveOne()
    expect(client.connection.state).toBe('away')
    await connect()
    await Promise.all(given)
    expect(paper.frames).toEqual([0, 1])
  })
})
