// What Rollcall must answer for every label of the demo's roll, worked out from the plants and the default policy alone.
import type { Decision, Flag } from '../src/kernel/terms.ts'
import { demoJobs, fittingVersion } from './orders.ts'
import { neverReleased, type PlantKind, wetSmear, withdrawal } from './plants.ts'
import { roll, type ScenarioLabel } from './scenario.ts'

export interface ExpectedAnswer {
  readonly decision: Decision
  readonly flags: readonly Flag[]
  /** The version whose layers are laid; absent where none are. */
  readonly version?: number
  readonly setup?: true
}

/** What comes of each trouble; `stop` is for the first label of a cause, the others of it skip. */
const outcomes: Readonly<Record<PlantKind, { flag?: Flag; decision: Decision }>> = {
  faint: { decision: 'lay' },
  worn: { flag: 'low-quality', decision: 'lay' },
  smudged: { flag: 'no-read', decision: 'skip' },
  glared: { flag: 'no-read', decision: 'skip' },
  'wet-smear': { flag: 'no-read', decision: 'skip' },
  'garbled-code': { flag: 'unknown-code', decision: 'skip' },
  'earlier-print': { decision: 'lay' },
  'unfit-print': { flag: 'print-version-mismatch', decision: 'stop' },
  'other-job': { flag: 'other-job', decision: 'stop' },
  'never-released': { flag: 'not-released', decision: 'stop' },
  'damaged-layer': { flag: 'damaged-layer', decision: 'stop' },
  'withdrawn-version': { flag: 'withdrawn', decision: 'skip' },
  duplicate: { flag: 'duplicate', decision: 'skip' },
  'backed-up': { flag: 'already-laid', decision: 'skip' },
}

const versionOf = ({ job, design, print }: ScenarioLabel): number | undefined => {
  const found = demoJobs.find((candidate) => candidate.job === job)
  return found ? fittingVersion(found, design, print) : undefined
}

// Until the recall, labels of the version are as good as any.
function outcomeOf(frame: number, label: ScenarioLabel): { flag?: Flag; decision: Decision } {
  if (label.plant === undefined) return { decision: 'lay' }
  if (label.plant === 'withdrawn-version' && frame <= withdrawal.afterFrame) return { decision: 'lay' }
  return outcomes[label.plant]
}

const isEscalation = (frame: number, cell: number): boolean =>
  frame === wetSmear.escalates.frame && cell === wetSmear.escalates.cell

function foldRoll(): ReadonlyMap<string, ExpectedAnswer> {
  const stopped = new Set<string>()
  const answers = new Map<string, ExpectedAnswer>()
  for (const { frame, setup, labels } of roll) {
    for (const label of labels) {
      const outcome = outcomeOf(frame, label)
      const cause = [outcome.flag, label.job, label.design, label.print].join(' ')
      const again = outcome.decision === 'stop' && stopped.has(cause)
      if (outcome.decision === 'stop') stopped.add(cause)
      const decision = again ? 'skip' : isEscalation(frame, label.cell) ? 'stop' : outcome.decision
      const version = decision === 'lay' ? versionOf(label) : undefined
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

const answers = foldRoll()

/**
 * The answer that a label must get when it is first answered. One stop per cause (flag, job, design, print version); while that stop
 * is open, and after “skip the rest of these”, the cause's other labels skip with the same flag. The recall raises its own stop, so
 * that no label of it does. Throws where the roll has no such label.
 */
export function expected(frame: number, cell: number): ExpectedAnswer {
  const answer = answers.get(`${frame}/${cell}`)
  if (!answer) throw new RangeError(`the roll has no label at frame ${frame}, cell ${cell}`)
  return answer
}

/** Labels that were answered `lay` before the withdrawal and carry the withdrawn version: to be revoked short of no return. */
export const revocable: readonly { readonly frame: number; readonly cell: number }[] = roll
  .filter(({ frame }) => frame <= withdrawal.afterFrame)
  .flatMap(({ frame, labels }) => labels.map((label) => ({ frame, label })))
  .filter(({ label }) => label.job === withdrawal.job && label.design === withdrawal.design)
  .map(({ frame, label }) => ({ frame, cell: label.cell }))

/** Versions that must be released for these answers: every one of the demo's packages but the one that never is. */
export const released: readonly { readonly job: string; readonly design: string; readonly version: number }[] =
  demoJobs.flatMap((job) =>
    job.packages
      .flatMap((delivery) => delivery.versions)
      .filter(({ design }) => !(job.job === neverReleased.job && design === neverReleased.design))
      .map(({ design, version }) => ({ job: job.job, design, version })),
  )
