// One frame of the web as it lies flat under the camera, with a margin on every side, before optics and light.
import { smudge } from './capture-smudge.ts'
import type { PrintedArt, Stencils } from './capture-stencils.ts'
import { fill, type GrayPicture, lay, type PointPx, turned } from './gray-picture.ts'
import { seeded } from './random.ts'
import type { ScenarioFrame, ScenarioLabel } from './roll.ts'
import type { Modules } from './symbols.ts'
import { type CodeSpot, codeSpots, type DemoFrame, inFrame, px } from './web.ts'

/** Pixels round the frame that a skewed or shifted camera may see. */
export const marginPx = 36

const onSheet = (mm: { leftMm: number; topMm: number }): PointPx => ({
  x: marginPx + px(mm.leftMm),
  y: marginPx + px(mm.topMm),
})

/** One code of a frame, with the label that says how it looks. */
export interface PrintedCode {
  readonly spot: CodeSpot
  readonly label: ScenarioLabel
  /** Upper left corner on the sheet. */
  readonly corner: PointPx
  readonly codePx: number
}

/** The codes printed on a frame: each label's own, or the one that stands for all of them. */
export function printedCodes(web: DemoFrame, { labels }: ScenarioFrame): readonly PrintedCode[] {
  return codeSpots(web).flatMap((spot) => {
    const label = spot.cell ? labels.find(({ cell }) => cell === spot.cell?.cell) : labels[0]
    return label ? [{ spot, label, corner: onSheet(spot.box), codePx: px(web.codeAt.widthMm) }] : []
  })
}

export interface SheetParts {
  readonly web: DemoFrame
  readonly seed: number
  readonly stencils: Stencils
  readonly symbolOf: (label: ScenarioLabel) => Modules
  /** The artwork that was printed on a label's cell. */
  readonly artOf: (label: ScenarioLabel) => PrintedArt
}

const frameSizePx = ({ webWidthMm, pitchMm }: DemoFrame) => ({ width: px(webWidthMm), height: px(pitchMm) })

function layPaper(sheet: GrayPicture, { web, stencils: { paper } }: SheetParts, random: () => number): void {
  const shift = { x: -Math.floor(random() * paper.width), y: -Math.floor(random() * paper.height) }
  for (let y = shift.y; y < sheet.height; y += paper.height) {
    for (let x = shift.x; x < sheet.width; x += paper.width) lay(sheet, paper, { x, y })
  }
  // beside the web the camera sees the roller
  fill(sheet, { x: 0, y: 0, width: marginPx, height: sheet.height }, 58)
  fill(sheet, { x: marginPx + frameSizePx(web).width, y: 0, width: marginPx, height: sheet.height }, 58)
}

// A head running out of ink prints gray on a ground that it also wets a little.
const graysOf = (label: ScenarioLabel): { ink: number; ground: number } =>
  label.look === 'faint' ? { ink: 182, ground: 232 } : { ink: 42, ground: 244 }

function codePicture(code: Modules, codePx: number, grays: { ink: number; ground: number }): GrayPicture {
  const module = codePx / code.side
  if (!Number.isInteger(module)) throw new Error('invariant broken: a module is a whole number of pixels')
  const picture = { width: codePx, height: codePx, data: new Uint8Array(codePx * codePx).fill(grays.ground) }
  code.dark.forEach((dark, at) => {
    const column = at % code.side
    const box = { x: column * module, y: ((at - column) / code.side) * module, width: module, height: module }
    if (dark === 1) fill(picture, box, grays.ink)
  })
  return picture
}

const digitsMm = { widthMm: 1.2, heightMm: 1.6, belowMm: 1.8 } as const

/** Where the serial number's digits stand under a code, in the frame. */
function digitPlaces({ codeAt }: DemoFrame, { cell }: CodeSpot, count: number): readonly PointPx[] {
  const { widthMm, heightMm, belowMm } = digitsMm
  const left = codeAt.leftMm + (codeAt.widthMm - count * widthMm) / 2
  const topMm = codeAt.topMm + codeAt.heightMm + belowMm
  return Array.from({ length: count }, (_, index) => {
    const box = { leftMm: left + index * widthMm, topMm, widthMm, heightMm }
    return onSheet(cell ? inFrame(cell, box) : box)
  })
}

function layVariable(
  sheet: GrayPicture,
  { web, symbolOf }: SheetParts,
  code: PrintedCode & { readonly digits: readonly GrayPicture[] },
  random: () => number,
): void {
  const { label, spot, corner, codePx, digits } = code
  // the press's inkjet unit registers to a fifth of a millimetre
  const off = { x: Math.round((random() - 0.5) * 4), y: Math.round((random() - 0.5) * 4) }
  const at = { x: corner.x + off.x, y: corner.y + off.y }
  const picture = codePicture(symbolOf(label), codePx, graysOf(label))
  lay(sheet, turned(picture, spot.cell?.rotateDeg ?? 0), at)
  digitPlaces(web, spot, label.serial.length).forEach((place, index) => {
    const stencil = digits[Number(label.serial[index])]
    if (stencil) lay(sheet, stencil, { x: place.x + off.x, y: place.y + off.y })
  })
  if (label.look === 'smudged') smudge(sheet, { ...at, codePx }, random)
}

function layTape(sheet: GrayPicture, web: DemoFrame, tape: 'upper' | 'lower'): void {
  const framePx = frameSizePx(web)
  const gap = tape === 'upper' ? marginPx : marginPx + framePx.height
  const [from, until] = [Math.max(0, gap - px(5)), Math.min(sheet.height, gap + px(6))]
  for (let y = from; y < until; y++) {
    const edge = y < gap - px(4.9) || y > gap + px(5.8)
    const butt = Math.abs(y - gap) < 2
    const share = butt ? 0.45 : edge ? 0.76 : 0.9
    for (let x = marginPx; x < marginPx + framePx.width; x++) {
      const at = y * sheet.width + x
      sheet.data[at] = (sheet.data[at] ?? 0) * share
    }
  }
}

/** What a frame's sheet is put together from besides paper, drawn or found. */
interface FramePictures {
  readonly labels: readonly GrayPicture[]
  readonly codes: readonly (PrintedCode & { readonly digits: readonly GrayPicture[] })[]
}

async function gather({ web, stencils, artOf }: SheetParts, frame: ScenarioFrame): Promise<FramePictures> {
  const labels = frame.labels.map((label, index) => stencils.label(artOf(label), web.cells[index]?.rotateDeg ?? 0))
  const codes = printedCodes(web, frame).map(async (code) => ({
    ...code,
    digits: await stencils.digits(code.spot.cell?.rotateDeg ?? 0),
  }))
  return { labels: await Promise.all(labels), codes: await Promise.all(codes) }
}

function layLabel(sheet: GrayPicture, web: DemoFrame, index: number, picture: GrayPicture | undefined): void {
  const place = web.cells[index]
  if (!place || !picture) return
  const { x, y } = onSheet({ leftMm: place.leftMm - place.bleedMm, topMm: place.topMm - place.bleedMm })
  for (const neighbour of [-1, 0, 1]) lay(sheet, picture, { x, y: y + neighbour * frameSizePx(web).height })
}

function compose(sheet: GrayPicture, parts: SheetParts, frame: ScenarioFrame, { labels, codes }: FramePictures): void {
  const { web } = parts
  const random = seeded(parts.seed + 1_000 + frame.frame)
  layPaper(sheet, parts, random)
  web.cells.forEach(({ cell }, index) => {
    layLabel(sheet, web, index, labels[index])
    const own = codes.find(({ spot }) => spot.cell?.cell === cell)
    if (own) layVariable(sheet, parts, own, random)
  })
  for (const code of codes) if (!code.spot.cell) layVariable(sheet, parts, code, random)
  const { widthMm, heightMm } = web.eyeMark
  fill(sheet, { ...onSheet(web.eyeMark), width: px(widthMm), height: px(heightMm) }, 34)
  if (frame.tape) layTape(sheet, web, frame.tape)
}

/** Gives a function that puts a frame's sheet together and hands it over: the same memory on every call, so it is used at once. */
export function openSheets(parts: SheetParts): <T>(frame: ScenarioFrame, use: (sheet: GrayPicture) => T) => Promise<T> {
  const { width, height } = frameSizePx(parts.web)
  const size = { width: width + 2 * marginPx, height: height + 2 * marginPx }
  const sheet = { ...size, data: new Uint8Array(size.width * size.height) }
  return async (frame, use) => {
    const pictures = await gather(parts, frame)
    compose(sheet, parts, frame, pictures)
    return use(sheet)
  }
}
