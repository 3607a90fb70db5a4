// The second pass over the honeys' roll: rewound, so that the last frame comes first and bottom edges lead, read by a plain code
// reader on each lane, and what it must be answered.
import type { ExpectedAnswer } from '../expected.ts'
import type { ScenarioFrame, ScenarioLabel } from '../roll.ts'
import { repeat, setupFrames } from './plants.ts'
import { honeysScenario } from './scenario.ts'

/** Frames of the second pass that are made while the line is being set. */
export const setupFramesAgain = 3

/** Where the fifth label within fifty is one that the first pass skipped: a stop is asked for (`pass-mismatch`, 5 in 50). */
const escalates = { frame: 31, cell: 2 } as const

const pitchMm = honeysScenario.job.frame.pitchMm

export interface SecondFrame {
  readonly frame: number
  readonly positionMm: number
  readonly labels: readonly ScenarioLabel[]
}

// A frame that the web was backed up over was printed once: its first sighting says what it is.
const printedFrames: readonly ScenarioFrame[] = honeysScenario.roll.filter(
  ({ place }, index, roll) => roll.findIndex((other) => other.place === place) === index,
)

/** In the order of triggers. The set-up labels of the first pass were cut out before the roll was rewound. */
export const secondPass: readonly SecondFrame[] = printedFrames
  .filter(({ place }) => place >= setupFrames)
  .toReversed()
  .map(({ labels }, frame) => ({ frame, positionMm: 2_000 + frame * pitchMm, labels }))

/** What the reader of a label's lane sends: a smudge stays, a glare was the camera's. */
export const textSeen = ({ look, text }: ScenarioLabel): string | null => (look === 'smudged' ? null : text)

const isRepeated = ({ cell, text }: ScenarioLabel): boolean =>
  repeat.cells.some((repeated) => repeated === cell) &&
  honeysScenario.roll[repeat.of]?.labels.some((label) => label.cell === cell && label.text === text) === true

// Set-up of the first pass ran the first record over and over, so that its serial stands on material that was cut out.
const isOfSetUp = ({ text }: ScenarioLabel): boolean =>
  honeysScenario.roll.slice(0, setupFrames).some(({ labels }) => labels.some((label) => label.text === text))

/** The answer that a label of the second pass must get. */
export function expectedAgain({ frame }: SecondFrame, label: ScenarioLabel): ExpectedAnswer {
  const setup = frame < setupFramesAgain ? { setup: true as const } : {}
  if (label.look === 'smudged') return { decision: 'skip', flags: ['no-read'], ...setup }
  if (label.plant === 'garbled-code') return { decision: 'skip', flags: ['unknown-code'], ...setup }
  // What was skipped stays skipped; of two labels with one serial nobody can say which one was laid.
  if (label.look === 'glared' || isRepeated(label) || isOfSetUp(label)) {
    const isFifth = frame === escalates.frame && label.cell === escalates.cell
    return { decision: isFifth ? 'stop' : 'skip', flags: ['pass-mismatch'], ...setup }
  }
  return { decision: 'lay', flags: [], version: 1, ...setup }
}
