// Codes of several looks at one picture, brought into its pixels and counted once each.
import type { FoundCode, PointPx } from './found-code.ts'

/** From the pixels of a part, enlarged by `scale`, to those of the picture that it was cut from at `left`, `top`. */
export function shifted(code: FoundCode, by: { scale: number; left: number; top: number }): FoundCode {
  const move = ({ x, y }: PointPx): PointPx => ({ x: x / by.scale + by.left, y: y / by.scale + by.top })
  const [a, b, c, d] = code.corners
  return { ...code, corners: [move(a), move(b), move(c), move(d)], centre: move(code.centre) }
}

/** `found` and what `more` adds. The same content at the same place is one code; other content there is another, and a conflict. */
export function mergeFound(found: readonly FoundCode[], more: readonly FoundCode[]): readonly FoundCode[] {
  const merged = [...found]
  for (const code of more) {
    if (!merged.some((known) => isSame(known, code))) merged.push(code)
  }
  return merged
}

function isSame(known: FoundCode, code: FoundCode): boolean {
  if (known.text !== code.text || known.identifier !== code.identifier) return false
  const apart = Math.hypot(known.centre.x - code.centre.x, known.centre.y - code.centre.y)
  return apart < Math.max(diagonal(known), diagonal(code)) / 2
}

function diagonal({ corners: [a, , c] }: FoundCode): number {
  return Math.hypot(a.x - c.x, a.y - c.y)
}
