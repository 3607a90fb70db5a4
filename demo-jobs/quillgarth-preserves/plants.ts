// The troubles planted in the preserves' roll.
import { at, type Plant, stretch } from '../plants.ts'
import { preserves, teas } from './orders.ts'

const everyCell = [1, 2, 3, 4] as const

export const setupFrames = 8

export const splice = { beforeFrame: 66, framesCutOut: 9, phaseShiftUm: 2_400 } as const

export const backUp = { afterFrame: 203, pitches: 6 } as const

export const withdrawal = { afterFrame: 157, job: preserves.job, design: 'PLUM-FR', version: 2 } as const

/** Labels that need the damaged layer come only from frame `firstFrame` on. */
export const damage = { job: preserves.job, design: 'ELDER-DE', version: 2, layer: 'relief', firstFrame: 138 } as const

/** The design of package 3, which nobody released. */
export const neverReleased = { job: preserves.job, design: 'CHERRY-FR', version: 1, package: 3 } as const

export const repeat = { frame: 190, of: 104, cells: everyCell } as const

/** Codes wiped while the ink was wet: the tenth within fifty labels asks for a stop (`no-read`, 10 in 50). */
export const wetSmear = { firstFrame: 222, escalates: { frame: 224, cell: 2 } } as const

export const plants: readonly Plant[] = [
  // weak print, still read: in set-up and later
  at('faint', 3, 2),
  at('faint', 5, 3),
  at('faint', 20, 1),
  at('faint', 44, 3),
  at('faint', 97, 4),
  // so many spots that little error correction is left
  at('worn', 30, 4),
  at('worn', 88, 2),
  at('worn', 164, 3),
  at('smudged', 24, 2),
  at('smudged', 25, 2),
  at('smudged', 58, 4),
  at('smudged', 133, 1),
  at('glared', 36, 3),
  at('glared', 72, 1),
  at('glared', 118, 2),
  at('glared', 176, 4),
  // the serial number lost a digit
  at('garbled-code', 49, 1),
  at('garbled-code', 145, 3),
  // a version that no released artwork fits: two designs, so two causes
  stretch('unfit-print', { first: 80, last: 82 }, { cells: [1, 2], design: 'QUINCE-DE', print: '00' }),
  stretch('unfit-print', { first: 80, last: 82 }, { cells: [3, 4], design: 'PLUM-EN', print: '00' }),
  // the print before this one, which version 1 still fits
  stretch('earlier-print', { first: 92, last: 95 }, { cells: everyCell, print: '01' }),
  stretch('other-job', { first: 108, last: 109 }, { cells: [2, 3], job: teas.job, design: 'MINT-EN', print: '01' }),
  stretch('never-released', { first: 122, last: 127 }, { cells: [4], design: neverReleased.design }),
  stretch('damaged-layer', { first: damage.firstFrame, last: 143 }, { cells: [2], design: damage.design }),
  stretch('withdrawn-version', { first: 148, last: 155 }, { cells: [1], design: withdrawal.design }),
  stretch('withdrawn-version', { first: 152, last: 163 }, { cells: [3], design: withdrawal.design }),
  stretch('withdrawn-version', { first: 180, last: 183 }, { cells: [2], design: withdrawal.design }),
  stretch('duplicate', { first: repeat.frame, last: repeat.frame }, { cells: everyCell }),
  stretch(
    'backed-up',
    { first: backUp.afterFrame + 1, last: backUp.afterFrame + backUp.pitches },
    { cells: everyCell },
  ),
  stretch('wet-smear', { first: 222, last: 223 }, { cells: everyCell }),
  stretch('wet-smear', { first: 224, last: 224 }, { cells: [1, 2] }),
]
