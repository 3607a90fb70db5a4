// One frame of the web as it lies flat under the camera, with a margin on every side, before optics and light.

import { smudge } from './capture-smudge.ts'
import { digitStencils, type GrayPicture, labelStencil, paper } from './capture-stencils.ts'
import { type QrModules, qrModules, qrSide, wear } from './qr-code.ts'
import { seeded } from './random.ts'
import type { ScenarioFrame, ScenarioLabel } from './scenario.ts'
import { bleedMm, camera, codeAt, webFrame } from './web.ts'

const px = (mm: number): number => Math.round(mm * camera.pxPerMm)

/** Pixels round the frame that a skewed or shifted camera may see. */
export const marginPx = 36
export const framePx = { width: px(webFrame.webWidthMm), height: px(webFrame.pitchMm) } as const
const sheetPx = { width: framePx.width + 2 * marginPx, height: framePx.height + 2 * marginPx } as const
const modulePx = px(codeAt.widthMm) / qrSide

export interface PointPx {
  readonly x: number
  readonly y: number
}

type Sheet = GrayPicture

/** Copies a picture onto the sheet; what lies outside is cut off. */
function lay(sheet: Sheet, picture: GrayPicture, at: PointPx): void {
  const fromX = Math.max(0, -at.x)
  const untilX = Math.min(picture.width, sheet.width - at.x)
  if (untilX <= fromX) return
  for (let row = Math.max(0, -at.y); row < Math.min(picture.height, sheet.height - at.y); row++) {
    const start = row * picture.width
    sheet.data.set(picture.data.subarray(start + fromX, start + untilX), (at.y + row) * sheet.width + at.x + fromX)
  }
}

function fill(sheet: Sheet, box: PointPx & { width: number; height: number }, gray: number): void {
  for (let y = Math.max(0, box.y); y < Math.min(sheet.height, box.y + box.height); y++) {
    const start = y * sheet.width + Math.max(0, box.x)
    sheet.data.fill(gray, start, y * sheet.width + Math.min(sheet.width, box.x + box.width))
  }
}

function layPaper(sheet: Sheet, random: () => number): void {
  const shift = { x: -Math.floor(random() * paper.width), y: -Math.floor(random() * paper.height) }
  for (let y = shift.y; y < sheet.height; y += paper.height) {
    for (let x = shift.x; x < sheet.width; x += paper.width) lay(sheet, paper, { x, y })
  }
  // beside the web the camera sees the roller
  fill(sheet, { x: 0, y: 0, width: marginPx, height: sheet.height }, 58)
  fill(sheet, { x: marginPx + framePx.width, y: 0, width: marginPx, height: sheet.height }, 58)
}

/** Upper left corner of a label's code on the sheet. */
export function codeCorner(cell: number): PointPx {
  const place = webFrame.cells[cell - 1]
  if (!place) throw new RangeError(`the frame has no cell ${cell}`)
  return { x: marginPx + px(place.leftMm + codeAt.leftMm), y: marginPx + px(place.topMm + codeAt.topMm) }
}

function layCode(sheet: Sheet, code: QrModules, at: PointPx, grays: { ink: number; ground: number }): void {
  for (let row = 0; row < qrSide; row++) {
    for (let column = 0; column < qrSide; column++) {
      const gray = code.dark[row * qrSide + column] === 1 ? grays.ink : grays.ground
      const module = { x: at.x + column * modulePx, y: at.y + row * modulePx, width: modulePx, height: modulePx }
      fill(sheet, module, gray)
    }
  }
}

// A head running out of ink prints gray on a ground that it also wets a little.
const graysOf = (label: ScenarioLabel): { ink: number; ground: number } =>
  label.look === 'faint' ? { ink: 182, ground: 232 } : { ink: 42, ground: 244 }

function layVariable(sheet: Sheet, label: ScenarioLabel, digits: readonly GrayPicture[], random: () => number): void {
  const corner = codeCorner(label.cell)
  // the press's inkjet unit registers to a fifth of a millimetre
  const at = { x: corner.x + Math.round((random() - 0.5) * 4), y: corner.y + Math.round((random() - 0.5) * 4) }
  const clean = qrModules(label.text, Number(label.serial) % 8)
  layCode(sheet, label.look === 'worn' ? wear(clean, Number(label.serial)) : clean, at, graysOf(label))
  const left = at.x + px(1.4)
  Array.from(label.serial, Number).forEach((digit, index) => {
    const stencil = digits[digit]
    if (stencil) lay(sheet, stencil, { x: left + index * px(1.2), y: at.y + px(11.8) })
  })
  if (label.look === 'smudged') smudge(sheet, at, random)
}

function layTape(sheet: Sheet, tape: 'upper' | 'lower'): void {
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

const scratch: Sheet = { ...sheetPx, data: new Uint8Array(sheetPx.width * sheetPx.height) }

export interface SheetStencils {
  readonly labels: readonly GrayPicture[]
  readonly digits: readonly GrayPicture[]
}

/** Draws, or finds, all that a frame's sheet is put together from. */
export async function sheetStencils(frame: ScenarioFrame): Promise<SheetStencils> {
  return { labels: await Promise.all(frame.labels.map(labelStencil)), digits: await digitStencils }
}

/** Puts a frame's sheet together. It is the same memory on every call: use it before calling again. */
export function composeSheet(frame: ScenarioFrame, stencils: SheetStencils): Sheet {
  const random = seeded(1_000 + frame.frame)
  layPaper(scratch, random)
  frame.labels.forEach((label, index) => {
    const place = webFrame.cells[index]
    const stencil = stencils.labels[index]
    if (!place || !stencil) return
    const x = marginPx + px(place.leftMm - bleedMm)
    for (const neighbour of [-1, 0, 1])
      lay(scratch, stencil, { x, y: marginPx + px(place.topMm - bleedMm) + neighbour * framePx.height })
    layVariable(scratch, label, stencils.digits, random)
  })
  const mark = webFrame.eyeMark
  fill(
    scratch,
    { x: marginPx + px(mark.leftMm), y: marginPx + px(mark.topMm), width: px(mark.widthMm), height: px(mark.heightMm) },
    34,
  )
  if (frame.tape) layTape(scratch, frame.tape)
  return scratch
}
