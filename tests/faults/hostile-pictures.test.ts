// Pictures that are none, that claim to be vast, that contradict one another. A frame whose picture can't be read is still a frame that
// passed: its labels are answered as no-reads, and the dead work says why.
import { randomBytes } from 'node:crypto'
import { readdir, readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterAll, beforeAll, expect, it } from 'vitest'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import type { Answer } from '../../src/runs/index.ts'
import { type HostileHouse, openHostileHouse } from '../fixtures/hostile-house.ts'
import { code, demand, ledgerOf, pictureOf, verifyAgainst } from '../fixtures/live-run.ts'
import { bareGrayPng } from '../fixtures/packages.ts'
import { type LiveServer, type Reply, until } from '../fixtures/server.ts'

let house: HostileHouse
let server: LiveServer
let runId: string
beforeAll(async () => {
  house = await openHostileHouse()
  ;({ server, runId } = house)
})
afterAll(() => house.close())

let last = 9
const nextFrame = (): number => {
  last += 1
  return last
}

const post = (
  frame: number,
  raw: Uint8Array,
  type = 'image/png',
  positionMm: number | string = frame * 30,
): Promise<Reply> =>
  server.ask('POST', `/runs/${runId}/captures?frame=${frame}&positionMm=${positionMm}`, {
    raw,
    headers: { 'content-type': type },
  })

async function answersOf(frame: number): Promise<readonly Answer[]> {
  let answers: readonly Answer[] = []
  await until(async () => {
    answers = (await server.ask('GET', `/runs/${runId}/answers?frame=${frame}`)).json.answers
    return answers.length > 0
  })
  return answers
}

/** The dead work of a frame's picture. */
async function deadOf(frame: number): Promise<{ error: { code: string; detail: string } }> {
  const id = `read:${runId}:${frame}`
  let work: { id: string; error: { code: string; detail: string } } | undefined
  await until(async () => {
    const { json } = await server.ask('GET', '/work?state=dead')
    work = json.work.find((one: { id: string }) => one.id === id)
    return work !== undefined
  })
  return work!
}

/** Many no-reads in a row also ask for a stop, so the decision may be either. */
const unread = [1, 2].map((cell) => ({ cell, flags: ['no-read'], identity: null, layers: [] }))

const half = (picture: Buffer): Buffer => picture.subarray(0, Math.floor(picture.length / 2))

const bad: [string, string, () => Promise<Uint8Array>][] = [
  ['text', 'picture-unreadable', async () => Buffer.from('this is no picture')],
  ['noise', 'picture-unreadable', async () => randomBytes(50_000)],
  ['an empty body', 'picture-unreadable', async () => new Uint8Array(0)],
  ['a signature alone', 'picture-unreadable', async () => Buffer.from('89504e470d0a1a0a', 'hex')],
  ['half a PNG', 'picture-unreadable', async () => half(await pictureOf([code('LIME', 1), code('PLUM', 2)]))],
  ['a page of HTML', 'picture-unreadable', async () => Buffer.from('<!doctype html><svg onload="x">')],
  [
    'a PNG that claims 60,000 × 60,000 pixels',
    'picture-too-large',
    () => bareGrayPng({ width: 60_000, height: 60_000, bits: 8 }, Buffer.alloc(0)),
  ],
]

it.each(bad)('of %s: dead work with %s, and the labels are no-reads', async (_, problem, make) => {
  const frame = nextFrame()
  const startedMs = performance.now()
  expect(await post(frame, await make())).toMatchObject({ status: 202, json: { accepted: 1, answers: [] } })
  expect(await answersOf(frame)).toMatchObject(unread)
  expect((await deadOf(frame)).error).toMatchObject({ code: problem })
  expect(performance.now() - startedMs).toBeLessThan(10_000)
})

it('of another media type in name only is read for what it is', async () => {
  const frame = nextFrame()
  await demand(post(frame, await pictureOf([code('LIME', 601), code('PLUM', 602)]), 'image/jpeg'))
  expect(await answersOf(frame)).toMatchObject([{ identity: { serial: '000601' } }, { identity: { serial: '000602' } }])
})

it('of the same frame: the same one is a repeat, another one a conflict that changes nothing', async () => {
  const frame = nextFrame()
  const picture = await pictureOf([code('LIME', 603), code('PLUM', 604)])
  await demand(post(frame, picture))
  const answers = await answersOf(frame)
  expect(await post(frame, picture)).toMatchObject({ status: 202, json: { answers, pending: [] } })
  const other = await pictureOf([code('LIME', 605), code('PLUM', 606)])
  const conflict = { code: 'frame-conflict', status: 409 }
  await house.refuses(() => post(frame, other), conflict)
  await house.refuses(() => post(frame, other, 'image/jpeg'), conflict)
  await house.refuses(() => post(frame, picture, 'image/png', frame * 30 + 1), conflict)
  // A frame whose reads came by themselves has no picture.
  await house.refuses(() => post(3, picture), conflict)
})

it('sent for one frame at the same time: one is taken, and it is the one that is read', async () => {
  for (let round = 0; round < 3; round += 1) {
    const frame = nextFrame()
    const pictures = await Promise.all(
      [0, 1, 2].map((i) => pictureOf([code('LIME', 700 + round * 10 + i), code('PLUM', 800 + round * 10 + i)])),
    )
    const replies = await Promise.all(pictures.map((picture) => post(frame, picture)))
    expect(replies.map(({ status }) => status).toSorted()).toEqual([202, 409, 409])
    const taken = replies.findIndex(({ status }) => status === 202)
    expect(await answersOf(frame)).toMatchObject([{ identity: { text: code('LIME', 700 + round * 10 + taken) } }, {}])
    const folder = join(server.dataFolder, 'captures', runId)
    const files = (await readdir(folder)).filter((name) => name.includes(`_${frame * 30_000}.`))
    expect(files.length).toBe(1)
    expect(sha256Hex(await readFile(join(folder, files[0]!)))).toBe(sha256Hex(pictures[taken]!))
  }
})

it('leaping, without frame or position, or too large are refused and not kept', async () => {
  const picture = await pictureOf([null, null])
  const at = (query: string) => (): Promise<Reply> =>
    server.ask('POST', `/runs/${runId}/captures${query}`, { raw: picture, headers: { 'content-type': 'image/png' } })
  await house.refuses(() => post(last + 500, picture, 'image/png', last * 30), { code: 'frame-leap', status: 409 })
  for (const query of ['', '?frame=&positionMm=', '?frame=%20&positionMm=1', '?frame=50', '?frame=x&positionMm=1'])
    await house.refuses(at(query), { code: 'bad-request', status: 400 })
  for (const query of ['?frame=-1&positionMm=1', '?frame=50&positionMm=1e400', '?frame=../../x&positionMm=1'])
    await house.refuses(at(query), { code: 'bad-request', status: 400 })
  await house.refuses(() => post(50, Buffer.alloc(64 * 1024 * 1024 + 1)), { code: 'body-too-large', status: 413 })
})

it('of every kind leave a ledger that verifies', async () => {
  const answers: Answer[] = []
  for (let frame = 10; frame <= last; frame += 1) answers.push(...(await answersOf(frame)))
  expect(await verifyAgainst(await ledgerOf(server, runId), answers)).toMatchObject({
    ok: true,
    compared: { answers: (last - 9) * 2 },
  })
})
