// What becomes of a roll between passes. Rewinding turns frame i into N − 1 − i and brings the other end first; it makes no mirror image.
import { counted, halfTurned } from './cells.ts'
import { opposite } from './edges.ts'
import { type Impossible, impossible, type Orientation } from './orientation.ts'

/**
 * How a roll runs after one rewinding: the opposite edge leads, frames come in the opposite direction, lanes are mirrored as seen along
 * the travel. The face stays, unless the web was wound up over where it was unwound under, or the other way round (`pathChanges`).
 */
export function rewound(orientation: Orientation, { pathChanges = false } = {}): Orientation {
  const { face, ...rest } = orientation
  const flipped = face === 'out' ? 'in' : 'out'
  return {
    ...rest,
    frameTurnDeg: orientation.frameTurnDeg === 0 ? 180 : 0,
    direction: orientation.direction === 'as-printed' ? 'reversed' : 'as-printed',
    ...(face ? { face: pathChanges ? flipped : face } : {}),
    leadEdge: opposite(orientation.leadEdge),
    lanesMirrored: !orientation.lanesMirrored,
    cells: counted(orientation.cells.map((cell) => halfTurned(cell, orientation))),
  }
}

export interface PassesAgree {
  readonly kind: 'agree'
  /** The roll was rewound between the passes (an odd number of times). */
  readonly rewound: boolean
}

const ends = { 0: 'the top of the frame first', 180: 'the bottom of the frame first' } as const
const orders = { 'as-printed': 'frames in printed order', reversed: 'frames in reverse' } as const
const said = ({ frameTurnDeg, direction }: Orientation): string => `${ends[frameTurnDeg]}, ${orders[direction]}`

/**
 * Whether two passes can be of one roll. Which end of a frame points towards the first printed one does not change after printing, so
 * the other end leads if and only if the frames come in the other direction. And a roll gets no wider: cells of now were on it before.
 */
export function acrossPasses({ earlier, now }: { earlier: Orientation; now: Orientation }): PassesAgree | Impossible {
  const isTurned = earlier.frameTurnDeg !== now.frameTurnDeg
  const isReversed = earlier.direction !== now.direction
  if (isTurned !== isReversed) {
    return impossible(
      'passes-contradict',
      `the earlier pass ran ${said(earlier)}, this one would run ${said(now)}: rewinding changes both or neither. ` +
        `Look at the roll and mend ${isTurned ? 'direction, or leadEdge' : 'leadEdge, or direction'}, on the ticket`,
    )
  }
  const before = new Set(earlier.cells.map(({ cell }) => cell))
  const added = now.cells.filter(({ cell }) => !before.has(cell)).map(({ cell }) => cell)
  if (added.length > 0) {
    return impossible(
      'cells-not-run-before',
      `the roll of the earlier pass did not carry cell ${added.join(', ')}; take them out of cells of the ticket, or name the right roll`,
    )
  }
  return { kind: 'agree', rewound: isTurned }
}
