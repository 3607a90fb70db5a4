// The troubles planted in the gins' roll. A glared code that is seen again when the web is backed up is read then, and its label laid.
import { at, type Plant, stretch } from '../plants.ts'
import { neverReleased, winterJob } from './designs.ts'

export const setupFrames = 4

export const splice = { beforeFrame: 16, framesCutOut: 5, phaseShiftUm: -1_800 } as const

export const backUp = { afterFrame: 45, pitches: 4 } as const

/** Two cells only: five duplicates within fifty labels would ask for a stop. */
export const repeat = { frame: 36, of: 24, cells: [2, 5] } as const

/** Frame 44 is seen again as frame 48. */
const seenTwice = { first: 44, again: 48, cell: 2 } as const

/** The press's data were a print version ahead of the artwork: no version fits what the table says of these codes. */
export const unfit = { first: 19, last: 21, cells: [1, 4], design: 'DAMSON-70', print: '03' } as const

export const plants: readonly Plant[] = [
  at('faint', 2, 2),
  at('faint', 9, 6),
  at('faint', 26, 1),
  at('smudged', 7, 3),
  at('smudged', 22, 5),
  at('smudged', 34, 6),
  at('glared', 12, 1),
  at('glared', 30, 4),
  at('glared', seenTwice.first, seenTwice.cell),
  at('second-look', seenTwice.again, seenTwice.cell),
  at('not-in-table', 10, 4),
  at('not-in-table', 38, 3),
  at('one-character-off', 23, 2),
  at('one-character-off', 32, 1),
  stretch('unfit-print', unfit, { cells: unfit.cells, design: unfit.design, print: unfit.print }),
  stretch('other-job', { first: 13, last: 14 }, { cells: [3, 6], job: winterJob, design: 'CHERRY-05', print: '01' }),
  stretch('never-released', { first: 27, last: 29 }, { cells: [3], design: neverReleased.design }),
  stretch('duplicate', { first: repeat.frame, last: repeat.frame }, { cells: repeat.cells }),
  stretch('backed-up', { first: 46, last: 49 }, { cells: [1, 3, 4, 5, 6] }),
  stretch('backed-up', { first: 46, last: 47 }, { cells: [seenTwice.cell] }),
  at('backed-up', 49, seenTwice.cell),
]
