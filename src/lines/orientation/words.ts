// An orientation in words, to be held against the roll on the unwinder before it is threaded.
import { lanesAlong } from './cells.ts'
import type { Orientation } from './orientation.ts'

const listed = (names: readonly (string | number)[]): string =>
  names.length < 2 ? names.join('') : `${names.slice(0, -1).join(', ')} and ${names.at(-1)}`

const plural = (word: string, count: number): string => (count === 1 ? word : `${word}s`)

/** How the roll is wound, and so how the web leaves it with the print up. */
export function faceWords({ face }: Orientation): string {
  if (face === 'out') return 'The roll is wound face out: the web leaves it over the top, print up.'
  if (face === 'in') return 'The roll is wound face in: the web leaves it underneath, print up.'
  return 'Neither ticket nor line says how the roll is wound: face out unwinds over, face in unwinds under; the print must be up under the sensor.'
}

/** Which edge of which labels leads; labels turned in their cells need not all agree. */
export function leadWords({ leadEdge, cells }: Orientation): string {
  const [first] = cells
  if (cells.every(({ rotateDeg }) => rotateDeg === first?.rotateDeg))
    return `The ${leadEdge} edge of the labels leads, as one reads them.`
  return `The ${leadEdge} edge of the label in cell ${first?.cell} leads, as one reads it; some others are turned against it.`
}

function laneWords({ cells }: Orientation): string {
  const lanes = lanesAlong(cells)
  if (lanes.length === 1) return `The roll has one lane, lane ${lanes[0]}.`
  const between = lanes.length > 2 ? ` (from left to right: ${lanes.join(', ')})` : ''
  return `Looking along the travel, lane ${lanes[0]} is on the left and lane ${lanes.at(-1)} on the right${between}.`
}

/** What lies on the outside of the roll. */
export const directionWords = ({ direction }: Orientation): string =>
  direction === 'as-printed'
    ? 'The frame that was printed first is on the outside and comes first.'
    : 'The frame that was printed last is on the outside and comes first.'

const standing: Readonly<Record<number, string>> = {
  0: 'upright, heads first',
  90: 'on their sides, heads to the right',
  180: 'upside down, feet first',
  270: 'on their sides, heads to the left',
}

function turnWords({ cells }: Orientation): string {
  const turns = [...new Set(cells.map(({ rotateDeg }) => rotateDeg))]
  if (turns.length === 1) return `Under the sensor the labels lie ${standing[turns[0] ?? 0]}.`
  const parts = turns.map((turn) => {
    const those = cells.filter(({ rotateDeg }) => rotateDeg === turn)
    return `${plural('cell', those.length)} ${listed(those.map(({ cell }) => cell))} ${standing[turn]}`
  })
  return `Under the sensor the labels lie: ${parts.join('; ')}.`
}

/** What to check at the unwinder, a sentence a line. `frameCells`: how many cells the frame has as printed. */
export function orientationWords(orientation: Orientation, { frameCells }: { frameCells: number }): readonly string[] {
  const { cells } = orientation
  const slit = `A slit roll: it carries ${plural('cell', cells.length)} ${listed(cells.map(({ cell }) => cell))} of ${frameCells}.`
  return [
    leadWords(orientation),
    laneWords(orientation),
    faceWords(orientation),
    directionWords(orientation),
    turnWords(orientation),
    ...(cells.length < frameCells ? [slit] : []),
  ]
}
