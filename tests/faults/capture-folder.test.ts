// Pictures dropped into the watched capture folder: renamed in, copied slowly, cut off, out of order, misnamed. A complete one is
// announced in its turn and answered; a refused one gets the suffix `.refused`.
import { appendFile, mkdir, readdir, rename, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterAll, beforeAll, expect, it } from 'vitest'
import type { Answer } from '../../src/runs/index.ts'
import {
  code,
  demand,
  labelsAnswered,
  ledgerOf,
  openRun,
  pictureOf,
  proveRun,
  publishJob,
  verifyAgainst,
} from '../fixtures/live-run.ts'
import { type LiveServer, startServer, temporaryFolder, until } from '../fixtures/server.ts'

let folder: string
let server: LiveServer
const start = async (): Promise<void> => {
  const environment = { ROLLCALL_CAPTURES_RESCAN_MS: '100' }
  server = await startServer({ dataFolder: join(folder, 'data'), environment })
}
beforeAll(async () => {
  folder = await temporaryFolder('captures')
  await start()
  await publishJob(server)
  await mkdir(join(folder, 'outside'))
})
afterAll(async () => {
  await server.kill()
  await rm(folder, { recursive: true, force: true })
})

const texts = (frame: number): [string, string] => [code('LIME', frame * 2), code('PLUM', frame * 2 + 1)]
const drawn = new Map<number, Buffer>()
async function pictureFor(frame: number): Promise<Buffer> {
  const picture = drawn.get(frame) ?? (await pictureOf(texts(frame)))
  drawn.set(frame, picture)
  return picture
}
const nameOf = (frame: number, positionUm = frame * 30_000): string =>
  `${String(frame).padStart(6, '0')}_${positionUm}.png`

interface Lane {
  readonly runId: string
  readonly folder: string
  /** Writes a file elsewhere and renames it in, as a careful program does. */
  drop(name: string, bytes: Uint8Array): Promise<void>
  frames(): Promise<number[]>
  answers(frame: number): Promise<readonly Answer[]>
  files(): Promise<string[]>
}

async function laneOf(runId: string): Promise<Lane> {
  const captures = join(folder, 'data/captures', runId)
  await mkdir(captures, { recursive: true })
  const lane: Lane = {
    runId,
    folder: captures,
    async drop(name, bytes) {
      const outside = join(folder, 'outside', `${runId}-${name}`)
      await writeFile(outside, bytes)
      await rename(outside, join(captures, name))
    },
    async frames() {
      const { entries } = await ledgerOf(server, runId)
      return entries.filter(({ type }) => type === 'frame').map(({ body }) => body.frame)
    },
    async answers(frame) {
      let answers: readonly Answer[] = []
      await until(async () => {
        const reply = await server.ask('GET', `/runs/${runId}/answers?frame=${frame}`)
        answers = reply.status === 200 ? reply.json.answers : []
        return answers.length > 0
      })
      return answers
    },
    files: async () => (await readdir(captures)).toSorted(),
  }
  return lane
}

let count = 0
async function provedLane(): Promise<Lane> {
  count += 1
  const runId = await openRun(server, `C${count}`)
  await proveRun(server, runId)
  return laneOf(runId)
}

const read = (frame: number) => texts(frame).map((text) => ({ frame, identity: { text } }))
const unread = [{ flags: ['no-read'] }, { flags: ['no-read'] }]

it('takes pictures that are renamed in, in their order, and answers them', async () => {
  const lane = await provedLane()
  for (const frame of [1, 2, 3, 4]) await lane.drop(nameOf(frame), await pictureFor(frame))
  const answers = (await Promise.all([1, 2, 3, 4].map((frame) => lane.answers(frame)))).flat()
  expect(answers).toMatchObject([1, 2, 3, 4].flatMap(read))
  expect(await lane.frames()).toEqual([0, 1, 2, 3, 4])
  expect(await lane.files()).toEqual([1, 2, 3, 4].map((frame) => nameOf(frame)))
  const ledger = await ledgerOf(server, lane.runId)
  expect(await verifyAgainst(ledger, answers)).toMatchObject({ ok: true, compared: { answers: 8 } })
  expect(labelsAnswered(ledger).length).toBe(10)
})

it('waits a little for a picture that comes after its successor, and goes on without one that never comes', async () => {
  const lane = await provedLane()
  for (const frame of [3, 2, 1]) await lane.drop(nameOf(frame), await pictureFor(frame))
  await lane.answers(3)
  // 4 never comes.
  await lane.drop(nameOf(5), await pictureFor(5))
  expect(await lane.answers(5)).toMatchObject(read(5))
  expect(await lane.frames()).toEqual([0, 1, 2, 3, 5])
})

it('takes no picture before it is there to its end, however slowly it is copied', async () => {
  const [slow, marker] = [await provedLane(), await provedLane()]
  const pictures = await Promise.all([1, 2, 3, 4, 5].map(pictureFor))
  const [picture, second] = pictures as [Buffer, Buffer]
  await slow.drop(nameOf(2), second)
  const piece = Math.ceil(picture.length / 5)
  for (let i = 0; i < 5; i += 1) {
    expect(await slow.frames()).toEqual([0])
    await appendFile(join(slow.folder, nameOf(1)), picture.subarray(i * piece, (i + 1) * piece))
    // Each picture that another run takes shows that the folders were looked at again.
    await marker.drop(nameOf(i + 1), pictures[i]!)
    await until(async () => (await marker.frames()).includes(i + 1))
  }
  expect(await slow.answers(1)).toMatchObject(read(1))
  expect(await slow.answers(2)).toMatchObject(read(2))
  expect(await slow.frames()).toEqual([0, 1, 2])
})

it('takes a picture that stays cut off, or empty, for a frame of no-reads, and those behind it after it', async () => {
  const lane = await provedLane()
  const picture = await pictureFor(1)
  await lane.drop(nameOf(1), picture.subarray(0, picture.length / 2))
  await lane.drop(nameOf(2), new Uint8Array(0))
  await lane.drop(nameOf(3), await pictureFor(3))
  expect(await lane.answers(1)).toMatchObject(unread)
  expect(await lane.answers(2)).toMatchObject(unread)
  expect(await lane.answers(3)).toMatchObject(read(3))
  await until(async () => (await server.ask('GET', '/work?state=dead')).json.work.length === 2)
  const { json } = await server.ask('GET', '/work?state=dead')
  expect(json.work.map(({ id }: { id: string }) => id).toSorted()).toEqual([1, 2].map((n) => `read:${lane.runId}:${n}`))
})

it('refuses misnamed pictures, leaves other files alone, and takes the rest', async () => {
  const lane = await provedLane()
  const picture = await pictureFor(1)
  const misnamed = ['photo.png', '1.jpg', '2_x.png', '-3_90000.tif', '1_30000_b.PNG', '1_30000.5.png']
  const others = ['.4_120000.png', '4_120000.png.part', 'notes.txt', '4_120000.bmp']
  for (const name of [...misnamed, ...others]) await lane.drop(name, picture)
  await lane.drop('1_30000.PNG', picture)
  expect(await lane.answers(1)).toMatchObject(read(1))
  const expected = [...misnamed.map((name) => `${name}.refused`), ...others, '1_30000.PNG'].toSorted()
  await until(async () => (await lane.files()).join() === expected.join())
  expect(await lane.frames()).toEqual([0, 1])
})

it('refuses pictures that leap, go back, or show a known frame at another place', async () => {
  const lane = await provedLane()
  await lane.drop(nameOf(1), await pictureFor(1))
  await lane.drop(nameOf(3), await pictureFor(3))
  await lane.answers(3)
  const bad = [nameOf(2), nameOf(400, 120_000), nameOf(1, 31_000)]
  for (const name of bad) await lane.drop(name, await pictureFor(2))
  await until(async () => (await lane.files()).filter((name) => name.endsWith('.refused')).length === 3)
  expect(await lane.files()).toEqual([nameOf(1), nameOf(3), ...bad.map((name) => `${name}.refused`)].toSorted())
  await lane.drop(nameOf(4), await pictureFor(4))
  expect(await lane.answers(4)).toMatchObject(read(4))
  expect(await lane.frames()).toEqual([0, 1, 3, 4])
})

it('keeps pictures for a run that takes none yet, and for a server that is down', async () => {
  const runId = await openRun(server, 'C90')
  const lane = await laneOf(runId)
  await lane.drop(nameOf(1), await pictureFor(1))
  const stray = join(folder, 'data/captures', 'no-such-run')
  await mkdir(stray)
  await writeFile(join(stray, nameOf(1)), await pictureFor(1))
  const other = await provedLane()
  await other.drop(nameOf(1), await pictureFor(1))
  await other.answers(1)
  expect(await lane.frames()).toEqual([])
  await demand(server.ask('POST', `/runs/${runId}/proving`, { body: { by: 'lead' } }))
  expect(await lane.answers(1)).toMatchObject(read(1))

  await server.kill()
  for (const frame of [2, 3]) await lane.drop(nameOf(frame), await pictureFor(frame))
  await start()
  expect(await lane.answers(3)).toMatchObject(read(3))
  expect(await lane.frames()).toEqual([1, 2, 3])
  expect(await readdir(stray)).toEqual([nameOf(1)])
})
