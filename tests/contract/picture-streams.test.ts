// Pictures over a socket: taken one at a time, stored and announced as posted ones are, each answered.
import { once } from 'node:events'
import { readdir, readFile } from 'node:fs/promises'
import { connect, type Socket } from 'node:net'
import path from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { systemClock } from '../../src/kernel/clock.ts'
import { openReaders, type Readers } from '../../src/readers/index.ts'
import { openPicturePort } from '../../src/readers/picture-port.ts'
import { Captures } from '../../src/runs/index.ts'
import { type Bench, code, openBench, pitchMm, short } from '../fixtures/runs.ts'
import { until } from './fixtures/until.ts'

const undo: (() => unknown)[] = []
afterEach(async () => {
  for (let step = undo.pop(); step; step = undo.pop()) await step()
})

const length = (bytes: number): Buffer => {
  const word = Buffer.alloc(4)
  word.writeUInt32BE(bytes)
  return word
}

function message(header: object | string, picture: Uint8Array = Buffer.alloc(0)): Buffer {
  const text = Buffer.from(typeof header === 'string' ? header : JSON.stringify(header))
  return Buffer.concat([length(text.length), text, picture])
}

const pictureMessage = (frame: number, picture: Uint8Array, change: object = {}): Buffer =>
  message({ frame, positionMm: frame * pitchMm, bytes: picture.length, mediaType: 'image/png', ...change }, picture)

/** A camera: sends what it is told, keeps the messages that come back. */
async function cameraOn(port: number) {
  const socket: Socket = connect(port, '127.0.0.1')
  undo.push(() => socket.destroy())
  let bytes = Buffer.alloc(0)
  // biome-ignore lint/suspicious/noExplicitAny: replies are looked into by hand
  const replies: any[] = []
  socket.on('data', (chunk: Buffer) => {
    bytes = Buffer.concat([bytes, chunk])
    while (bytes.length >= 4 && bytes.length >= 4 + bytes.readUInt32BE(0)) {
      const end = 4 + bytes.readUInt32BE(0)
      replies.push(JSON.parse(bytes.subarray(4, end).toString()))
      bytes = bytes.subarray(end)
    }
  })
  socket.on('error', () => undefined)
  await once(socket, 'connect')
  return { socket, replies }
}

interface House {
  readonly bench: Bench
  readonly readers: Readers
  /** Frames whose pictures are to be read, in order. */
  readonly queued: number[]
  readonly folder: string
  readonly port: number
}

async function openHouse(): Promise<House> {
  const bench = await openBench()
  undo.push(() => bench.close())
  const folder = path.join(bench.folder, 'captures')
  const queued: number[] = []
  const enqueue = async (order: { readonly payload: unknown }) => {
    queued.push((order.payload as { frame: number }).frame)
    return {} as never
  }
  const readers = openReaders({
    config: { readers: [], pictureStreams: [{ line: 'L1', port: 0 }] },
    host: '127.0.0.1',
    clock: systemClock,
    stamps: { nowMs: () => 0, close: () => undefined },
    report: (error) => {
      throw error
    },
  })
  const captures = new Captures({ folder, queue: { enqueue }, clock: systemClock })
  await readers.listen({ runOn: (line) => bench.runs.onLine(line), captures })
  undo.push(() => readers.close())
  return { bench, readers, queued, folder, port: readers.view().pictureStreams[0]!.port }
}

describe('a stream of pictures', () => {
  it('stores each picture, announces its frame and says that it is pending; its labels are answered when it is read', async () => {
    const house = await openHouse()
    const run = await house.bench.openProved()
    const { socket, replies } = await cameraOn(house.port)
    const pictures = [1, 2].map((frame) => Buffer.from(`picture of frame ${frame}`))
    const all = Buffer.concat([pictureMessage(1, pictures[0]!), pictureMessage(2, pictures[1]!)])
    // In pieces that fall anywhere.
    for (let at = 0; at < all.length; at += 37) socket.write(all.subarray(at, at + 37))
    await until(() => replies.length === 2)
    expect(replies).toEqual([
      { frame: 1, pending: true },
      { frame: 2, pending: true },
    ])
    expect(house.queued).toEqual([1, 2])
    const [file] = await readdir(path.join(house.folder, run.runId))
    expect(await readFile(path.join(house.folder, run.runId, file!))).toEqual(pictures[0])
    await run.pictureRead(1, [
      { cell: 1, text: code('A', 1) },
      { cell: 2, text: code('B', 2) },
    ])
    expect(short((await run.answersOf(1)) ?? [])).toEqual(['lay', 'lay'])
    expect(house.readers.view().pictureStreams[0]).toMatchObject({ pictures: 2, refused: 0, connected: 1 })
  })

  it('refuses a picture with the same problems as over HTTP, and goes on with the next', async () => {
    const house = await openHouse()
    await house.bench.openProved()
    const { socket, replies } = await cameraOn(house.port)
    socket.write(pictureMessage(1, Buffer.from('x'), { mediaType: 'image/webp' }))
    socket.write(pictureMessage(0, Buffer.from('x')))
    socket.write(pictureMessage(1, Buffer.from('x')))
    await until(() => replies.length === 3)
    expect(replies.map((reply) => reply.problem?.code)).toEqual(['wrong-media-type', 'frame-conflict', undefined])
  })

  it('says so where no run is on the line', async () => {
    const house = await openHouse()
    const { socket, replies } = await cameraOn(house.port)
    socket.write(pictureMessage(0, Buffer.from('x')))
    await until(() => replies.length === 1)
    expect(replies[0]).toMatchObject({ frame: 0, problem: { code: 'run-not-found' } })
  })

  it.each([
    ['a header that is no JSON', message('{')],
    [
      'a header with something unknown in it',
      message({ frame: 1, positionMm: 0, bytes: 1, mediaType: 'image/png', x: 1 }),
    ],
    ['a picture above the limit', message({ frame: 1, positionMm: 0, bytes: 2 ** 30, mediaType: 'image/png' })],
    ['an impossible length', length(0xffffffff)],
    ['HTTP', Buffer.from('POST / HTTP/1.1\r\n\r\n')],
  ])(
    'answers %s with a problem and ends the connection, since nothing behind it can be made out',
    async (_name, bytes) => {
      const house = await openHouse()
      const { socket, replies } = await cameraOn(house.port)
      const ended = once(socket, 'end')
      socket.write(bytes)
      await ended
      expect(replies).toEqual([{ problem: expect.objectContaining({ code: 'bad-request' }) }])
    },
  )

  it('reads no further picture while one is taken, however fast they come', async () => {
    const waiting: (() => void)[] = []
    let most = 0
    const tally = { pictures: 0, refused: 0, connections: 0 }
    const port = openPicturePort({
      tally,
      post: () => {
        most = Math.max(most, waiting.length + 1)
        return new Promise((resolve) => waiting.push(() => resolve({ pending: [] })))
      },
      report: () => undefined,
    })
    port.server.listen(0, '127.0.0.1')
    await once(port.server, 'listening')
    undo.push(() => port.close())
    const { socket, replies } = await cameraOn((port.server.address() as { port: number }).port)
    const picture = Buffer.alloc(4 * 1024 * 1024)
    for (let frame = 0; frame < 8; frame++) socket.write(pictureMessage(frame, picture))
    await until(() => waiting.length === 1)
    // What the sender could not get rid of stays with it.
    expect(socket.writableLength).toBeGreaterThan(picture.length)
    for (let taken = 0; taken < 8; taken++) {
      await until(() => waiting.length === 1)
      waiting.pop()?.()
      await until(() => replies.length === taken + 1)
    }
    expect(most).toBe(1)
    expect(tally.pictures).toBe(8)
  })
})
