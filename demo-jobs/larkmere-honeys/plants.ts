// The troubles planted in the honeys' roll, as its first pass meets them.
import { at, type Plant, stretch } from '../plants.ts'

const everyCell = [1, 2] as const

export const setupFrames = 3

export const backUp = { afterFrame: 39, pitches: 2 } as const

export const repeat = { frame: 31, of: 22, cells: [2] } as const

export const plants: readonly Plant[] = [
  at('faint', 6, 1),
  at('smudged', 9, 1),
  at('smudged', 26, 2),
  // the glare was the camera's: the second pass reads these, and leaves them alone
  at('glared', 14, 2),
  at('glared', 15, 2),
  at('glared', 34, 1),
  at('garbled-code', 19, 1),
  stretch('duplicate', { first: repeat.frame, last: repeat.frame }, { cells: repeat.cells }),
  stretch(
    'backed-up',
    { first: backUp.afterFrame + 1, last: backUp.afterFrame + backUp.pitches },
    { cells: everyCell },
  ),
]
