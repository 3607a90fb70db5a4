// The reading thread as the line meets it: files in, reads out, through a real pool of threads.
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { CaptureOutcome, CaptureTask, PictureOutcome } from '../../src/codes/index.ts'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import { openThreads } from '../../src/queue/index.ts'
import { drawScene, encode, type Gray } from '../drawn-symbols.ts'

const pxPerMm = 10
const lanes = [0, 1, 2, 3]
const frame: CaptureTask['frame'] = {
  pitchMm: 60,
  webWidthMm: 220,
  cells: lanes.map((lane) => ({
    cell: lane + 1,
    lane: lane + 1,
    leftMm: 9 + 51 * lane,
    topMm: 3,
    widthMm: 48,
    heightMm: 54,
    rotateDeg: 0,
  })),
  codeAt: { identifies: 'cell', from: 'cell', leftMm: 34, topMm: 40, widthMm: 10, heightMm: 10 },
}
const camera = { pxPerMm, leftMm: 0, topMm: 0 }
const textOf = (lane: number): string => `J1-mango.p1/00000${lane}`

/** A frame's picture, off by a millimetre and turned by a degree, without the codes of some lanes. */
function captureOf(options: { without?: readonly number[]; turned?: boolean; extra?: string } = {}): Gray {
  const turnDeg = 1
  const turn = (turnDeg * Math.PI) / 180
  const symbols = lanes
    .filter((lane) => !options.without?.includes(lane))
    .map((lane) => {
      const printed = { x: (9 + 51 * lane + 39) * pxPerMm, y: (3 + 45) * pxPerMm }
      const seen = options.turned ? { x: 2200 - printed.x, y: 600 - printed.y } : printed
      const [x, y] = [seen.x - 1100, seen.y - 300]
      return {
        modules: encode('qrcode', textOf(lane), { eclevel: 'M' }),
        modulePx: 4,
        x: 1110 + x * Math.cos(turn) - y * Math.sin(turn),
        y: 310 + x * Math.sin(turn) + y * Math.cos(turn),
        turnDeg: turnDeg + (options.turned ? 180 : 0),
      }
    })
  return drawScene({ width: 2200, height: 600, symbols, noise: 4, blurPx: 0.8 })
}

describe('the reading thread', () => {
  const threads = openThreads({ script: new URL('../../workers/read-capture.ts', import.meta.url), count: 1 })
  let folder = ''
  beforeAll(async () => {
    folder = await mkdtemp(path.join(tmpdir(), 'captures-'))
  })
  afterAll(async () => {
    await threads.close()
    await rm(folder, { recursive: true })
  })

  async function store(name: string, picture: Gray): Promise<string> {
    const file = path.join(folder, name)
    const { data, width, height } = picture
    const image = sharp(data, { raw: { width, height, channels: 1 } }).toColourspace('b-w')
    await writeFile(file, await (name.endsWith('.png') ? image.png() : image.jpeg({ quality: 90 })).toBuffer())
    return file
  }
  const read = async (file: string, more: Partial<CaptureTask> = {}): Promise<CaptureOutcome> => {
    const task: CaptureTask = { kind: 'capture', path: file, symbologies: ['qr'], frame, camera, ...more }
    return (await threads.run(task)) as CaptureOutcome
  }

  it.each(['whole.png', 'whole.jpg'])('gives the read of every cell and the digest of the bytes: %s', async (name) => {
    const file = await store(name, captureOf())
    const outcome = await read(file)
    expect(outcome.reads).toEqual(
      lanes.map((lane) => ({ cell: lane + 1, text: textOf(lane), symbology: ']Q1', quality: expect.any(Number) })),
    )
    expect(outcome.conflicts).toEqual([])
    expect(outcome.capture).toBe(sha256Hex(await readFile(file)))
    expect(outcome.turnDeg).toBeCloseTo(1, 0)
    expect(outcome.ms.decode).toBeGreaterThan(0)
    expect(outcome.ms.read).toBeGreaterThan(0)
  })

  it('gives no-reads where codes are missing', async () => {
    const { reads } = await read(await store('gaps.jpg', captureOf({ without: [1, 2] })))
    expect(reads.map(({ text }) => text)).toEqual([textOf(0), undefined, undefined, textOf(3)])
  })

  it('finds each cell on a web that runs bottom first', async () => {
    const { reads } = await read(await store('turned.jpg', captureOf({ turned: true })), { turned: true })
    expect(reads.map(({ text }) => text)).toEqual(lanes.map(textOf))
  })

  it('refuses a broken picture with its problem and reads the next one', async () => {
    const broken = path.join(folder, 'broken.jpg')
    const whole = await store('next.jpg', captureOf())
    const bytes = await readFile(whole)
    await writeFile(broken, bytes.subarray(0, bytes.length / 2))
    await expect(read(broken)).rejects.toMatchObject({ code: 'picture-unreadable', place: { file: broken } })
    expect((await read(whole)).reads[0]?.text).toBe(textOf(0))
  })

  it('reads whatever codes a loose picture holds', async () => {
    const picture = drawScene({
      width: 500,
      height: 240,
      symbols: [
        { modules: encode('qrcode', 'https://example.com/x'), modulePx: 4, x: 120, y: 120, turnDeg: 10 },
        { modules: encode('datamatrix', '123456'), modulePx: 6, x: 380, y: 120 },
      ],
    })
    const file = await store('loose.png', picture)
    const { codes, widthPx, heightPx } = (await threads.run({ kind: 'picture', path: file })) as PictureOutcome
    const seen = codes.map(({ text, identifier }) => `${identifier} ${text}`)
    expect(seen.toSorted()).toEqual([']Q1 https://example.com/x', ']d1 123456'])
    expect([widthPx, heightPx]).toEqual([500, 240])
    for (const { corners } of codes) expect(corners).toHaveLength(4)
  })
})
