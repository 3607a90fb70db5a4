// An event of the material in one line, for a person.
import type { MaterialEvent } from '../runs/index.ts'
import { counted } from './counted.ts'

const lanesText = (lanes: readonly number[]): string => `${lanes.length === 1 ? 'lane' : 'lanes'} ${lanes.join(', ')}`

function placeText({ event, positionMm, toPositionMm }: MaterialEvent): string {
  if (positionMm === undefined) return event === 'splice' || event === 'cut-out' ? ', place not recorded' : ''
  return ` at ${positionMm}${toPositionMm === undefined ? '' : ` to ${toPositionMm}`} mm`
}

function reelText({ event, station, foil, leftMm, widthMm }: MaterialEvent): string {
  if (event !== 'foil') return ''
  const across = leftMm === undefined || widthMm === undefined ? '' : `, ${leftMm} to ${leftMm + widthMm} mm across`
  return ` at the ${station} station: ${foil ?? 'nothing threaded'}${across}`
}

/** Such as `cut-out at 1500 to 1600 mm, 2 frames` or `slit R1 into R1-A (lane 1), R1-B (lanes 2, 3)`. */
export function materialText(row: MaterialEvent): string {
  const { event, roll, laneRolls, frames, note } = row
  const into = (laneRolls ?? []).map((lane) => `${lane.roll} (${lanesText(lane.lanes)})`).join(', ')
  return [
    event,
    roll === undefined ? '' : ` ${roll}`,
    into === '' ? '' : ` into ${into}`,
    reelText(row),
    placeText(row),
    frames === undefined ? '' : `, ${counted(frames, 'frame')} missing`,
    note === undefined ? '' : `: ${note}`,
  ].join('')
}
