// Plain code readers over real sockets: lines joined to the frames of a run, counted, and proved afterwards.
import { once } from 'node:events'
import { type AddressInfo, connect, createServer, type Socket } from 'node:net'
import { afterEach, describe, expect, it } from 'vitest'
import { openReaders, type ReaderConfig, type Readers } from '../../src/readers/index.ts'
import { readersSchema } from '../../src/readers/settings.ts'
import type { Run } from '../../src/runs/index.ts'
import { type Bench, code, openBench, pitchMm, publishedJobs, short } from '../fixtures/runs.ts'
import { holdClock } from './fixtures/held-clock.ts'
import { until } from './fixtures/until.ts'

const offsetMm = 20
/** At 1.5 m/s: a frame every 40 ms, and the reader 13 ms behind the trigger. */
const mmPerMs = 1.5

type ReaderInput = Partial<ReaderConfig['readers'][number]>

interface House {
  readonly bench: Bench
  readonly readers: Readers
  readonly clock: ReturnType<typeof holdClock>
  readonly sockets: Socket[]
  stampErrorMs: number
}

let house: House
afterEach(async () => {
  for (const socket of house.sockets) socket.destroy()
  await house.readers.close()
  await house.bench.close()
})

async function openHouse(inputs: readonly ReaderInput[] = [{ lane: 1 }, { lane: 2 }]): Promise<House> {
  const clock = holdClock()
  const state = { stampErrorMs: 0 }
  const config = readersSchema.parse(inputs.map((input) => ({ line: 'L1', port: 0, offsetMm, ...input })))
  const readers = openReaders({
    config: { readers: config, pictureStreams: [] },
    host: '127.0.0.1',
    clock: clock.clock,
    stamps: { nowMs: () => state.stampErrorMs, close: () => undefined },
    report: (error) => {
      throw error
    },
  })
  const bench = await openBench(publishedJobs(), { awaited: readers.awaited })
  await readers.listen({ runOn: async () => undefined, captures: undefined as never })
  house = Object.assign(state, { bench, readers, clock, sockets: [] as Socket[] })
  return house
}

const reader = (lane: number) => house.readers.view().readers[lane - 1]!
const place = (lane: number) => reader(lane).places[0]!

async function connectTo(lane: number): Promise<Socket> {
  const socket = connect(reader(lane).port, '127.0.0.1')
  house.sockets.push(socket)
  socket.on('error', () => undefined)
  const before = reader(lane).connections
  await once(socket, 'connect')
  await until(() => reader(lane).connections > before)
  return socket
}

/** Sends a line and waits until it was taken, whatever became of it. */
async function send(socket: Socket, lane: number, text: string | Uint8Array): Promise<void> {
  const taken = () => reader(lane).lines + reader(lane).garbage
  const before = taken()
  socket.write(text)
  await until(() => taken() > before)
}

async function freePort(): Promise<number> {
  const server = createServer().listen(0, '127.0.0.1')
  await once(server, 'listening')
  const { port } = server.address() as AddressInfo
  server.close()
  await once(server, 'close')
  return port
}

const positionMs = (mm: number): number => mm / mmPerMs
const moveTo = (mm: number): void => house.clock.advance(positionMs(mm) - house.clock.clock.monotonicMs())

const trigger = (run: Run, frame: number) => {
  moveTo(frame * pitchMm)
  return run.frames([{ frame, positionMm: frame * pitchMm, reads: [] }])
}

/** Proved on frames 0 to 2, whose lines come over sockets. */
async function provedRun() {
  const run = await house.bench.open()
  await run.startProving({ by: 'lead' })
  const lanes = [await connectTo(1), await connectTo(2)] as const
  for (const frame of [0, 1, 2]) {
    await trigger(run, frame)
    moveTo(frame * pitchMm + offsetMm)
    await send(lanes[0], 1, `${code('A', 900_000 + frame)}\r\n`)
    await send(lanes[1], 2, `${code('B', 910_000 + frame)}\r\n`)
  }
  await until(async () => (await run.answersOf(2)) !== undefined)
  await run.prove({ by: 'lead', lanes: [1, 2] })
  return { run, lanes }
}

const answered = async (run: Run, frame: number): Promise<string[]> => {
  await until(() => run.state.frames.get(frame)?.answersAt !== undefined)
  return short((await run.answersOf(frame)) ?? [])
}

describe('plain code readers', () => {
  it('join their lines to frames that wait, which are answered as if the reads had come with them', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    const outcome = await trigger(run, 3)
    expect(outcome).toMatchObject({ answers: [], pending: [3] })
    moveTo(3 * pitchMm + offsetMm)
    await send(lanes[0], 1, `${code('A', 1)}\r\n`)
    expect(run.state.frames.get(3)?.answersAt).toBeUndefined()
    await send(lanes[1], 2, `${code('B', 2)}\r\n`)
    expect(await answered(run, 3)).toEqual(['lay', 'lay'])
    const [answer] = (await run.answersOf(3)) ?? []
    expect(answer?.identity?.text).toBe(code('A', 1))
    expect(place(1)).toMatchObject({ missing: 0, late: 0, doubled: 0, offMm: expect.closeTo(0, 1) })
    expect(reader(1)).toMatchObject({ connected: true, lines: 4, stray: 0, garbage: 0 })
  })

  it('are given up when the place has passed: the label is a no-read', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    await trigger(run, 3)
    moveTo(3 * pitchMm + offsetMm)
    await send(lanes[1], 2, `${code('B', 2)}\n`)
    await trigger(run, 4)
    expect(await answered(run, 3)).toEqual(['skip no-read', 'lay'])
    expect(place(1).missing).toBe(1)
  })

  it('may say themselves that they read nothing', async () => {
    await openHouse([{ lane: 1, noRead: 'NOREAD' }, { lane: 2 }])
    const { run, lanes } = await provedRun()
    await trigger(run, 3)
    moveTo(3 * pitchMm + offsetMm)
    await send(lanes[0], 1, 'NOREAD\r\n')
    await send(lanes[1], 2, `${code('B', 2)}\r\n`)
    expect(await answered(run, 3)).toEqual(['skip no-read', 'lay'])
    expect(place(1)).toMatchObject({ noRead: 1, missing: 0 })
  })

  it('skip a label for which two lines contradict each other', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    await trigger(run, 3)
    moveTo(3 * pitchMm + offsetMm)
    await send(lanes[0], 1, `${code('A', 1)}\r\n`)
    await send(lanes[0], 1, `${code('A', 7)}\r\n`)
    await send(lanes[1], 2, `${code('B', 2)}\r\n`)
    expect(await answered(run, 3)).toEqual(['skip out-of-sequence', 'lay'])
    expect(place(1)).toMatchObject({ doubled: 1, contradicting: 1 })
  })

  it('are not believed while this process was held up: better no read than that of another label', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    await trigger(run, 3)
    moveTo(3 * pitchMm + offsetMm)
    house.stampErrorMs = 60
    await send(lanes[0], 1, `${code('A', 1)}\r\n`)
    house.stampErrorMs = 0
    await send(lanes[1], 2, `${code('B', 2)}\r\n`)
    await trigger(run, 4)
    expect(await answered(run, 3)).toEqual(['skip no-read', 'lay'])
    expect(reader(1).stray).toBe(1)
  })

  it('are late as any read is: at the point of no return the frame is answered without them', async () => {
    // 383 mm lie between a frame and its point of no return.
    await openHouse([{ lane: 1, offsetMm: 500 }, { lane: 2 }])
    const run = await house.bench.open()
    await run.startProving({ by: 'lead' })
    for (let frame = 0; frame <= 6; frame++) await trigger(run, frame)
    expect(run.state.frames.get(0)?.answersAt).toBeUndefined()
    // Between two marks: only a heartbeat of the controller tells.
    await run.noteEncoder(385)
    expect(await answered(run, 0)).toEqual(['skip late', 'skip late'])
  })

  it('go on after a connection was lost: a new one takes the place of the old, and a piece of a line is garbage', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    await trigger(run, 3)
    lanes[0].write('half a li')
    const again = await connectTo(1)
    await once(lanes[0], 'close')
    moveTo(3 * pitchMm + offsetMm)
    await send(again, 1, `${code('A', 1)}\r\n`)
    await send(lanes[1], 2, `${code('B', 2)}\r\n`)
    expect(await answered(run, 3)).toEqual(['lay', 'lay'])
    expect(reader(1)).toMatchObject({ connections: 2, replaced: 1, connected: true })
  })

  it('may send garbage as they like: it is counted and the next line is taken', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    await trigger(run, 3)
    moveTo(3 * pitchMm + offsetMm)
    await send(lanes[0], 1, Buffer.concat([Buffer.alloc(100_000, 0x78), Buffer.from('\n')]))
    await send(lanes[0], 1, Uint8Array.of(0xff, 0xfe, 0x0a))
    await send(lanes[0], 1, `${code('A', 1)}\n`)
    await send(lanes[1], 2, `${code('B', 2)}\n`)
    expect(await answered(run, 3)).toEqual(['lay', 'lay'])
    expect(reader(1).garbage).toBe(2)
  })

  it('leave frames alone that bring their own reads, and give what they have when the run closes', async () => {
    await openHouse()
    const { run, lanes } = await provedRun()
    const own = [
      { lane: 1, text: code('A', 1) },
      { lane: 2, text: code('B', 2) },
    ]
    moveTo(3 * pitchMm)
    const { answers } = await run.frames([{ frame: 3, positionMm: 3 * pitchMm, reads: own }])
    expect(short(answers)).toEqual(['lay', 'lay'])
    await trigger(run, 4)
    moveTo(4 * pitchMm + offsetMm)
    await send(lanes[0], 1, `${code('A', 5)}\r\n`)
    await run.close({ by: 'lead' })
    expect(await answered(run, 4)).toEqual(['lay', 'skip no-read'])
    await run.seal({ by: 'lead' })
  })

  it('take a frame up again after a restart: without their lines its labels are no-reads, never lost', async () => {
    await openHouse()
    const { run } = await provedRun()
    const before = await trigger(run, 3)
    expect(before.pending).toEqual([3])
    await house.bench.restart()
    const again = await house.bench.runs.get(run.runId)
    expect(again.state.waiting.size).toBe(1)
    await trigger(again, 4)
    expect(await answered(again, 3)).toEqual(['skip no-read', 'skip no-read'])
    const repeat = await again.frames([{ frame: 3, positionMm: 3 * pitchMm, reads: [] }])
    expect(short(repeat.answers)).toEqual(['skip no-read', 'skip no-read'])
  })

  it('count a line as stray while no run is on the line', async () => {
    await openHouse()
    await send(await connectTo(1), 1, 'anything\n')
    expect(reader(1)).toMatchObject({ lines: 1, stray: 1 })
  })

  it('let in the stated address alone', async () => {
    await openHouse([{ lane: 1, from: '127.0.0.9' }, { lane: 2 }])
    const socket = connect(reader(1).port, '127.0.0.1')
    house.sockets.push(socket)
    socket.on('error', () => undefined)
    await once(socket, 'close')
    expect(reader(1)).toMatchObject({ connected: false, connections: 0, refused: 1 })
  })
})

describe('readers that share a port', () => {
  it('have each line go to the cell that is nearest', async () => {
    const port = await freePort()
    await openHouse([
      { cell: 1, offsetMm: 5, port },
      { cell: 2, offsetMm: 35, port },
    ])
    const run = await house.bench.open()
    await run.startProving({ by: 'lead' })
    const socket = await connectTo(1)
    for (const frame of [0, 1, 2, 3]) {
      await trigger(run, frame)
      moveTo(frame * pitchMm + 5)
      await send(socket, 1, `${code('A', frame)}\n`)
      moveTo(frame * pitchMm + 35)
      await send(socket, 1, `${code('B', frame)}\n`)
    }
    expect(house.readers.view().readers).toHaveLength(1)
    expect(await answered(run, 3)).toEqual(['lay', 'lay'])
    const texts = ((await run.answersOf(3)) ?? []).map((answer) => answer.identity?.text)
    expect(texts).toEqual([code('A', 3), code('B', 3)])
  })
})

describe('the configuration of readers', () => {
  const config = (rows: readonly object[]) =>
    readersSchema.safeParse(rows.map((row) => ({ line: 'L1', port: 7, ...row })))

  it('refuses two for one place, and one port with two forms of lines', () => {
    expect(config([{ lane: 1 }, { lane: 1, port: 8 }]).error?.message).toContain('same place')
    expect(config([{ lane: 1 }, { lane: 2, noRead: '?' }]).error?.message).toContain('differ in')
    expect(config([{ lane: 1, cell: 1 }]).success).toBe(false)
    expect(config([{ lane: 1 }, { lane: 2, offsetMm: 30 }]).success).toBe(true)
  })

  it('asks for the address of each where it listens beyond loopback', async () => {
    await openHouse()
    const open = (from?: string) =>
      openReaders({
        config: { readers: readersSchema.parse([{ line: 'L1', port: 0, from }]), pictureStreams: [] },
        host: '0.0.0.0',
        beyond: '0.0.0.0',
        clock: house.clock.clock,
        stamps: { nowMs: () => 0, close: () => undefined },
        report: () => undefined,
      })
    expect(() => open()).toThrow('must say which address')
    expect(() => open('10.0.0.4')).not.toThrow()
  })
})
