// A code that was wiped while its ink was wet: dragged along the web under a streaky film, past any mending.
import type { GrayPicture } from './gray-picture.ts'

const dragPx = 64
const filmGray = 92

const share = (value: number): number => Math.min(1, Math.max(0, value))

/** A slow wander along the wipe, in pixels: a hand or a roller never pulls quite straight. */
const wander = (y: number, phase: number): number => 5 * Math.sin(y / 27 + phase) + 2.5 * Math.sin(y / 8 + 2 * phase)

interface Wipe {
  readonly codePx: number
  readonly phase: number
  /** Where the film begins and thins out in this column. */
  readonly fromPx: number
  readonly untilPx: number
}

/** The wiped box round a code, from the code's upper left. */
const sidesOf = (codePx: number) => ({ leftPx: -18, rightPx: codePx + 20, topPx: -16, bottomPx: codePx + 90 })

// All of the wipe lies over the code; at its sides and ends it is ragged.
function strength(x: number, y: number, wipe: Wipe): number {
  const { leftPx, rightPx } = sidesOf(wipe.codePx)
  const wandered = x + wander(y, wipe.phase)
  const sides = Math.min(wandered - leftPx - 8, rightPx - 8 - wandered)
  return share(sides / 7) * share((y - wipe.fromPx) / 6) * share((wipe.untilPx - y) / 55)
}

/** Wipes the code of `codePx` a side whose upper left corner is at `x`, `y`, in place. */
export function smudge(sheet: GrayPicture, code: { x: number; y: number; codePx: number }, random: () => number): void {
  const { codePx } = code
  const side = sidesOf(codePx)
  const rows = Math.min(side.bottomPx, sheet.height - code.y) - side.topPx
  const phase = random() * 6
  const index = (x: number, y: number): number => (code.y + y) * sheet.width + code.x + x
  let streak = 0
  for (let x = side.leftPx; x < side.rightPx; x++) {
    streak = streak * 0.72 + (random() - 0.5) * 32
    const wipe = { codePx, phase, fromPx: side.topPx + 2 + random() * 8, untilPx: codePx + 62 + streak * 0.8 }
    const column = Uint8Array.from({ length: rows }, (_, row) => sheet.data[index(x, side.topPx + row)] ?? 0)
    let sum = 0
    let smear = 0
    for (let row = 0; row < rows; row++) {
      const gray = column[row] ?? 0
      sum += gray - (row >= dragPx ? (column[row - dragPx] ?? 0) : 0)
      smear = smear * 0.8 + (random() - 0.5) * 14
      const wiped = 0.3 * (sum / Math.min(row + 1, dragPx)) + 0.7 * filmGray + streak + smear
      const y = side.topPx + row
      const wet = strength(x, y, wipe)
      sheet.data[index(x, y)] = Math.min(255, Math.max(0, gray * (1 - wet) + wiped * wet))
    }
  }
}
