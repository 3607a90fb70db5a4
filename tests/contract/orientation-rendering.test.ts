// Orientation by rendering: a printed web is drawn, turned as it runs, read by the real reader; then each cell's stored layer is turned
// and placed as answered, and must lie on its own label's print, pixel for pixel.
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openReader, readCapture } from '../../src/codes/index.ts'
import { systemClock } from '../../src/kernel/clock.ts'
import { lineSchema, type Orientation, orientationOf, ticketSchema } from '../../src/lines/index.ts'
import type { ManifestFrame } from '../../src/packages/index.ts'
import { cellsOfRun } from '../../src/runs/geometry.ts'
import { encode } from '../drawn-symbols.ts'

type Turn = 0 | 90 | 180 | 270
type Edge = 'top' | 'right' | 'bottom' | 'left'

const pxPerMm = 10
/** A label, in its own axes, mm. */
const label = { widthMm: 30, heightMm: 22 }
const codeAt = { leftMm: 18.5, topMm: 10.5, widthMm: 9, heightMm: 9 }
const printGray = 150

// Lanes and rows stand unevenly on the web, so that a mirror image or a wrong turn of it can't pass for the right one.
const corners = [
  { leftMm: 3, topMm: 2, lane: 1, row: 1 },
  { leftMm: 37, topMm: 4, lane: 2, row: 1 },
  { leftMm: 4, topMm: 38, lane: 1, row: 2 },
  { leftMm: 39, topMm: 37, lane: 2, row: 2 },
]

function frameOf(turns: readonly Turn[]): ManifestFrame {
  return {
    pitchMm: 75,
    webWidthMm: 74,
    cells: corners.map((corner, i) => {
      const rotateDeg = turns[i] ?? 0
      const lying = rotateDeg % 180 === 90
      const size = lying ? { widthMm: label.heightMm, heightMm: label.widthMm } : label
      return { cell: i + 1, ...corner, ...size, rotateDeg, bleedMm: 0 }
    }),
    codeAt: { identifies: 'cell', from: 'cell', ...codeAt, quietMm: 1 },
    eyeMark: { leftMm: 0.5, topMm: 5, widthMm: 2, heightMm: 3 },
    substrates: ['paper'],
  }
}

interface Raw {
  readonly data: Buffer
  readonly width: number
  readonly height: number
}

const rendered = async (svg: string): Promise<Raw> => {
  const image = sharp(Buffer.from(svg)).flatten({ background: '#fff' }).toColourspace('b-w')
  const { data, info } = await image.raw().toBuffer({ resolveWithObject: true })
  expect(info.channels).toBe(1)
  return { data, width: info.width, height: info.height }
}

// An F with as many bars beside it as the cell has a number: alike to nothing turned, mirrored, or of another cell.
function art(cell: number, gray: number): string {
  const bars = Array.from({ length: cell }, (_, i) => `<rect x="${110 + 24 * i}" y="20" width="12" height="60"/>`)
  return `<g fill="rgb(${gray},${gray},${gray})" shape-rendering="crispEdges"><path d="M20 20H100V50H50V90H90V120H50V200H20Z"/>${bars.join('')}</g>`
}

const size = `width="${label.widthMm * pxPerMm}" height="${label.heightMm * pxPerMm}"`
const svgOf = (content: string): string => `<svg xmlns="http://www.w3.org/2000/svg" ${size}>${content}</svg>`
/** The stored layer: black where it is laid. */
const layerOf = (cell: number): Promise<Raw> => rendered(svgOf(art(cell, 0)))
const textOf = (cell: number): string => `J1/LABEL-${cell}/${cell}00${cell}`

/** Turned clockwise by quarters, without the library's help: what lies at the left edge comes to the upper edge. */
function turnedBy({ data, width, height }: Raw, deg: number): Raw {
  if (deg === 0) return { data, width, height }
  const quarter = Buffer.alloc(data.length)
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) quarter[x * height + (height - 1 - y)] = data[y * width + x] ?? 0
  }
  return turnedBy({ data: quarter, width: height, height: width }, deg - 90)
}

const png = ({ data, width, height }: Raw): Promise<Buffer> =>
  sharp(data, { raw: { width, height, channels: 1 } })
    .toColourspace('b-w')
    .png()
    .toBuffer()

// The code's modules at whole pixels; what is left of its place stays quiet.
function codeSvg(cell: number): string {
  const { width, height, dark } = encode('qrcode', textOf(cell), { eclevel: 'M' })
  const module = Math.floor((codeAt.widthMm * pxPerMm) / width)
  const [left, top] = [codeAt.leftMm, codeAt.topMm].map(
    (mm) => mm * pxPerMm + (codeAt.widthMm * pxPerMm - module * width) / 2,
  )
  const modules = Array.from({ length: width * height }, (_, i) => i).filter((i) => dark[i] === 1)
  const square = `width="${module}" height="${module}"`
  const at = (i: number): string =>
    `x="${Math.round((left ?? 0) + (i % width) * module)}" y="${Math.round((top ?? 0) + Math.floor(i / width) * module)}"`
  return `<g shape-rendering="crispEdges">${modules.map((i) => `<rect ${at(i)} ${square}/>`).join('')}</g>`
}

const printedLabel = (cell: number): Promise<Raw> => rendered(svgOf(art(cell, printGray) + codeSvg(cell)))

/** The frame as the press printed it. */
async function printedFrame(frame: ManifestFrame): Promise<Raw> {
  const [width, height] = [frame.webWidthMm * pxPerMm, frame.pitchMm * pxPerMm]
  const data = Buffer.alloc(width * height, 255)
  for (const cell of frame.cells) {
    const print = turnedBy(await printedLabel(cell.cell), cell.rotateDeg)
    for (let y = 0; y < print.height; y++) {
      const to = (cell.topMm * pxPerMm + y) * width + cell.leftMm * pxPerMm
      print.data.copy(data, to, y * print.width, (y + 1) * print.width)
    }
  }
  return { data, width, height }
}

/** Share of agreement between a layer laid at a place and print of the artwork's gray there: 1 is every pixel of either. */
function agreement(web: Raw, layer: Raw, at: { leftMm: number; topMm: number }): number {
  let both = 0
  let either = 0
  for (let y = 0; y < layer.height; y++) {
    for (let x = 0; x < layer.width; x++) {
      const laid = (layer.data[y * layer.width + x] ?? 255) < 128
      const place = (Math.round(at.topMm * pxPerMm) + y) * web.width + Math.round(at.leftMm * pxPerMm) + x
      const isPrint = web.data[place] === printGray
      if (laid && isPrint) both++
      if (laid || isPrint) either++
    }
  }
  return both / either
}

// What one sees leading on a label that lies so, when the top of the frame leads: its head is up, to the right, down, to the left.
const leadingEdge: Readonly<Record<Turn, Edge>> = { 0: 'top', 90: 'left', 180: 'bottom', 270: 'right' }
const lying = (turn: Turn, deg: 0 | 180): Turn => ((turn + deg) % 360) as Turn

const line = lineSchema.parse({
  schema: 'rollcall.line/1',
  line: 'L1',
  title: 'drawn line',
  stations: [{ station: 'foil', distanceMm: 1_000, skips: true, handlingMm: { atHand: 100, notAtHand: 200 } }],
  webWidthMmMax: 330,
  heightUmMax: 200,
})
const ticketOf = (more: object) =>
  ticketSchema.parse({
    schema: 'rollcall.ticket/1',
    ticket: 'T1',
    roll: 'R1',
    jobs: [{ job: 'J1' }],
    substrate: 'paper',
    pass: 1,
    regulated: false,
    ...more,
  })

let folder: string
let reader: Awaited<ReturnType<typeof openReader>>
beforeAll(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'orientation-'))
  reader = await openReader()
})
afterAll(() => rm(folder, { recursive: true }))

async function textsRead(web: Raw, frame: ManifestFrame, turned: boolean): Promise<(string | undefined)[]> {
  const file = path.join(folder, 'frame.png')
  await sharp(await png(web)).toFile(file)
  // The camera counts from the eye mark's leading edge; the picture begins at the frame's.
  const mark = frame.eyeMark ?? { topMm: 0, heightMm: 0 }
  const topMm = turned ? -(frame.pitchMm - mark.topMm - mark.heightMm) : -mark.topMm
  const camera = { pxPerMm, leftMm: 0, topMm }
  const task = { kind: 'capture', path: file, symbologies: ['qr'], frame, camera, turned } as const
  const { reads } = await readCapture(task, { reader, clock: systemClock })
  return reads.map(({ text }) => text)
}

/** Lays every cell's own layer as answered, and every other turn and cell's, which must not fit. */
async function expectLaidRight(web: Raw, orientation: Orientation): Promise<void> {
  for (const { cell, rotateDeg, ...at } of orientation.cells) {
    const own = await layerOf(cell)
    expect(agreement(web, turnedBy(own, rotateDeg), at), `cell ${cell}`).toBe(1)
    expect(agreement(web, turnedBy(own, (rotateDeg + 180) % 360), at)).toBeLessThan(0.5)
    for (const other of [1, 2, 3, 4].filter((number) => number !== cell))
      expect(agreement(web, turnedBy(await layerOf(other), rotateDeg), at)).toBeLessThan(0.97)
  }
}

const turnings: readonly (readonly Turn[])[] = [
  [0, 0, 0, 0],
  [90, 90, 90, 90],
  [180, 180, 180, 180],
  [270, 270, 270, 270],
  [0, 90, 180, 270],
  [90, 180, 270, 0],
  [180, 270, 0, 90],
  [270, 0, 90, 180],
]

describe.each(turnings)('a drawn web of labels turned by %i°, %i°, %i° and %i°', (...turns) => {
  const frame = frameOf(turns)

  it.each([0, 180] as const)(
    'turned by %i° on the line gets every layer right side up on its own label',
    async (deg) => {
      const web = turnedBy(await printedFrame(frame), deg)
      const leadEdge = leadingEdge[lying(turns[0] ?? 0, deg)]
      const ticket = ticketOf({ leadEdge, lanesMirrored: deg === 180 })
      const orientation = orientationOf({ ticket, line, frame })
      if (orientation.kind === 'impossible') return expect.unreachable(orientation.message)
      expect(orientation.frameTurnDeg).toBe(deg)
      expect(await textsRead(web, frame, orientation.frameTurnDeg === 180)).toEqual([1, 2, 3, 4].map(textOf))
      await expectLaidRight(web, orientation)
      const run = cellsOfRun(frame, ticket, line)
      expect(run.map(({ rotateDeg }) => rotateDeg)).toEqual(orientation.cells.map(({ rotateDeg }) => rotateDeg))
    },
  )
})

describe('a drawn web read as if it were not turned', () => {
  it('would be told by its codes and by its layers', async () => {
    const frame = frameOf([0, 0, 0, 0])
    const web = turnedBy(await printedFrame(frame), 180)
    expect(await textsRead(web, frame, false)).not.toEqual([1, 2, 3, 4].map(textOf))
    const wrong = orientationOf({ ticket: ticketOf({ leadEdge: 'top' }), line, frame })
    if (wrong.kind === 'impossible') return expect.unreachable(wrong.message)
    for (const { cell, rotateDeg, ...at } of wrong.cells)
      expect(agreement(web, turnedBy(await layerOf(cell), rotateDeg), at)).toBeLessThan(0.5)
  })
})

describe('a point of no return', () => {
  it('is the travel from the eye mark’s leading edge to the label’s, whichever end leads', () => {
    const frame = frameOf([0, 0, 0, 0])
    // The station is 1000 mm away and takes 100 mm of travel. Top first: mark at 5, labels at 2, 4, 38, 37.
    const top = cellsOfRun(frame, ticketOf({ leadEdge: 'top' }), line)
    expect(top.map(({ noReturnAfterUm }) => noReturnAfterUm)).toEqual([897_000, 899_000, 933_000, 932_000])
    // Bottom first: of 75 mm, the mark's lower edge at 8 is 67 from the end; labels' lower edges at 24, 26, 60, 59.
    const bottom = cellsOfRun(frame, ticketOf({ leadEdge: 'bottom' }), line)
    expect(bottom.map(({ noReturnAfterUm }) => noReturnAfterUm)).toEqual([884_000, 882_000, 848_000, 849_000])
  })

  it('is not asked of cells that are not on the roll', () => {
    const cells = cellsOfRun(frameOf([0, 0, 0, 0]), ticketOf({ cells: [4, 2] }), line)
    expect(cells.map(({ cell, lane }) => [cell, lane])).toEqual([
      [2, 2],
      [4, 2],
    ])
  })

  it('does not exist on a roll that no roll can be', () => {
    expect(() => cellsOfRun(frameOf([0, 0, 0, 0]), ticketOf({ leadEdge: 'left' }), line)).toThrow(
      expect.objectContaining({ code: 'orientation-impossible', place: { measured: 'lead-edge-at-side' } }),
    )
  })
})
