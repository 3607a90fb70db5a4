// The troubles planted in the demo's roll, as data: what, and on which labels. No label has two.
import { preserves, teas } from './orders.ts'

export const plantKinds = [
  'faint',
  'worn',
  'smudged',
  'glared',
  'wet-smear',
  'garbled-code',
  'earlier-print',
  'unfit-print',
  'other-job',
  'never-released',
  'damaged-layer',
  'withdrawn-version',
  'duplicate',
  'backed-up',
] as const
export type PlantKind = (typeof plantKinds)[number]

/** Labels of frames `first` to `last`, both included, in these cells. */
export interface Plant {
  readonly kind: PlantKind
  readonly first: number
  readonly last: number
  readonly cells: readonly number[]
  /** What stands there instead of what the press had in turn. */
  readonly job?: string
  readonly design?: string
  readonly print?: string
}

const everyCell = [1, 2, 3, 4] as const

const at = (kind: PlantKind, frame: number, cell: number): Plant => ({ kind, first: frame, last: frame, cells: [cell] })
const stretch = (
  kind: PlantKind,
  span: { first: number; last: number },
  rest: Omit<Plant, 'kind' | 'first' | 'last'>,
): Plant => ({
  kind,
  ...span,
  ...rest,
})

/** Frames at the roll's start that are made while the line is being set. */
export const setupFrames = 8

/** The roll was spliced in the gap before this frame; so many printed frames are missing, and the marks' phase shifts. */
export const splice = { beforeFrame: 66, framesCutOut: 9, phaseShiftUm: 2_400 } as const

/** After this frame was triggered the web was backed up by so many pitches, and ran on from there. */
export const backUp = { afterFrame: 203, pitches: 6 } as const

/** The version that is recalled as soon as this frame has been answered. */
export const withdrawal = { afterFrame: 157, job: preserves.job, design: 'PLUM-FR', version: 2 } as const

/** The layer whose stored bytes go bad after publishing; labels that need it come only from frame `firstFrame` on. */
export const damage = { job: preserves.job, design: 'ELDER-DE', version: 2, layer: 'relief', firstFrame: 138 } as const

/** The design of package 3, which nobody released. */
export const neverReleased = { job: preserves.job, design: 'CHERRY-FR', version: 1, package: 3 } as const

/** The press printed the records of frame `of` again on frame `frame`. */
export const repeat = { frame: 190, of: 104 } as const

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

const plantByLabel = new Map<string, Plant>()
for (const plant of plants) {
  for (let frame = plant.first; frame <= plant.last; frame++) {
    for (const cell of plant.cells) {
      if (plantByLabel.has(`${frame}/${cell}`))
        throw new Error(`invariant broken: frame ${frame} cell ${cell} has one trouble`)
      plantByLabel.set(`${frame}/${cell}`, plant)
    }
  }
}

/** The trouble planted on a label, if any. */
export const plantAt = (frame: number, cell: number): Plant | undefined => plantByLabel.get(`${frame}/${cell}`)
