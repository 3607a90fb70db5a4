// What Rollcall must answer for every label of a demo's roll, worked out from the plants and the default policy alone.
import type { Decision, Flag } from '../src/kernel/terms.ts'
import { type DemoJob, fittingVersion } from './orders.ts'
import type { PlantKind } from './plants.ts'
import type { ScenarioFrame, ScenarioLabel } from './roll.ts'

export interface ExpectedAnswer {
  readonly decision: Decision
  readonly flags: readonly Flag[]
  /** The version whose layers are laid; absent where none are. */
  readonly version?: number
  readonly setup?: true
}

export interface LabelSpot {
  readonly frame: number
  readonly cell: number
}

/** A version that is recalled as soon as a frame has been answered. */
export interface Withdrawal {
  readonly afterFrame: number
  readonly job: string
  readonly design: string
  readonly version: number
}

interface Expectation {
  readonly roll: readonly ScenarioFrame[]
  /** Every job with labels on the roll. */
  readonly jobs: readonly DemoJob[]
  readonly withdrawal?: Withdrawal
  /** Labels at which a flag comes for so many times that a stop is asked for (`stopAfter`). */
  readonly escalations: readonly LabelSpot[]
}

interface Outcome {
  readonly flag?: Flag
  readonly decision: Decision
}

const unknownCode: Outcome = { flag: 'unknown-code', decision: 'skip' }
const noRead: Outcome = { flag: 'no-read', decision: 'skip' }

/** What comes of each trouble; `stop` is for the first label of a cause, the others of it skip. */
const outcomes: Readonly<Record<PlantKind, Outcome>> = {
  faint: { decision: 'lay' },
  worn: { flag: 'low-quality', decision: 'lay' },
  smudged: noRead,
  glared: noRead,
  'wet-smear': noRead,
  // glared at first, and seen well when the web was backed up
  'second-look': { decision: 'lay' },
  'garbled-code': unknownCode,
  'not-in-table': unknownCode,
  'one-character-off': unknownCode,
  'wrong-check-digit': unknownCode,
  'missing-key': unknownCode,
  'earlier-print': { decision: 'lay' },
  'unfit-print': { flag: 'print-version-mismatch', decision: 'stop' },
  'other-job': { flag: 'other-job', decision: 'stop' },
  'never-released': { flag: 'not-released', decision: 'stop' },
  'damaged-layer': { flag: 'damaged-layer', decision: 'stop' },
  'withdrawn-version': { flag: 'withdrawn', decision: 'skip' },
  duplicate: { flag: 'duplicate', decision: 'skip' },
  'backed-up': { flag: 'already-laid', decision: 'skip' },
}

function versionOf({ jobs }: Expectation, { job, design, print }: ScenarioLabel): number | undefined {
  const found = jobs.find((candidate) => candidate.job === job)
  return found ? fittingVersion(found, design, print) : undefined
}

// Until the recall, labels of the version are as good as any.
function outcomeOf({ withdrawal }: Expectation, frame: number, label: ScenarioLabel): Outcome {
  if (label.plant === undefined) return { decision: 'lay' }
  const isEarly = withdrawal !== undefined && frame <= withdrawal.afterFrame
  return label.plant === 'withdrawn-version' && isEarly ? { decision: 'lay' } : outcomes[label.plant]
}

/**
 * The answer that each label must get when it is first answered, by `frame/cell`. One stop per cause (flag, job, design, print
 * version); while that stop is open, and after “skip the rest of these”, the cause's other labels skip with the same flag. The recall
 * raises its own stop, so that no label of it does.
 */
export function expectAnswers(expectation: Expectation): ReadonlyMap<string, ExpectedAnswer> {
  const stopped = new Set<string>()
  const answers = new Map<string, ExpectedAnswer>()
  const escalates = new Set(expectation.escalations.map(({ frame, cell }) => `${frame}/${cell}`))
  for (const { frame, setup, labels } of expectation.roll) {
    for (const label of labels) {
      const outcome = outcomeOf(expectation, frame, label)
      const cause = [outcome.flag, label.job, label.design, label.print].join(' ')
      const again = outcome.decision === 'stop' && stopped.has(cause)
      if (outcome.decision === 'stop') stopped.add(cause)
      const decision = again ? 'skip' : escalates.has(`${frame}/${label.cell}`) ? 'stop' : outcome.decision
      const version = decision === 'lay' ? versionOf(expectation, label) : undefined
      answers.set(`${frame}/${label.cell}`, {
        decision,
        flags: outcome.flag ? [outcome.flag] : [],
        ...(version !== undefined ? { version } : {}),
        ...(setup ? { setup: true as const } : {}),
      })
    }
  }
  return answers
}

/** Labels that were answered `lay` before the withdrawal and carry the withdrawn version: to be revoked short of no return. */
export function expectRevocations({ roll, withdrawal }: Expectation): readonly LabelSpot[] {
  if (!withdrawal) return []
  return roll
    .filter(({ frame }) => frame <= withdrawal.afterFrame)
    .flatMap(({ frame, labels }) => labels.map((label) => ({ frame, label })))
    .filter(({ label }) => label.job === withdrawal.job && label.design === withdrawal.design)
    .map(({ frame, label }) => ({ frame, cell: label.cell }))
}
