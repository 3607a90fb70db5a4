// A demo job as the demo runs it: what is delivered, the roll with its planted troubles, and what must come of them.
import { join } from 'node:path'
import { openStudio, type StudioParts } from './capture-studio.ts'
import { type ExpectedAnswer, expectAnswers, expectRevocations, type LabelSpot, type Withdrawal } from './expected.ts'
import { demoFolder } from './folders.ts'
import type { DemoJob, DemoPackage, DemoVersion } from './orders.ts'
import type { Plant } from './plants.ts'
import { drawRoll, type RollPlan, type ScenarioFrame } from './roll.ts'

/** One delivery. */
export interface ScenarioPackage {
  readonly source: string
  readonly job: string
  readonly package: number
  readonly released: readonly DemoVersion[]
  /** Published and never released. */
  readonly held: readonly DemoVersion[]
}

/** A layer whose stored bytes go bad after publishing. */
export interface Damage {
  readonly job: string
  readonly design: string
  readonly version: number
  readonly layer: string
}

/** A delivery with several faults at once; it must be refused. */
export interface Spoiled {
  readonly source: string
  readonly faults: readonly { readonly code: string; readonly where: string }[]
}

/** A splice as the controller would report it: where it lies, and what is missing there. */
export interface SpliceEvent {
  readonly beforeFrame: number
  readonly positionUm: number
  readonly frames: number
}

/** A ticket that has no blocker any more, and what the lead did about it. */
export interface Mended {
  readonly ticket: string
  readonly how: string
}

/** What happens to the roll once it has run, before its ledger is sealed. */
export interface WoundEvent {
  readonly event: 'cut-out' | 'split' | 'rewind'
  readonly roll?: string
  readonly positionMm?: number
  readonly toPositionMm?: number
  readonly note: string
}

export interface ScenarioParts {
  /** Folder of the job that is run. */
  readonly name: string
  /** Every job with labels on the roll, in the order of publishing; the first is the one on the ticket. */
  readonly jobs: readonly [DemoJob, ...DemoJob[]]
  readonly plan: RollPlan
  readonly neverReleased: readonly { readonly job: string; readonly design: string }[]
  readonly escalations: readonly LabelSpot[]
  readonly withdrawal?: Withdrawal
  readonly damage?: Damage
  readonly spoiled?: Spoiled
  readonly mended?: Mended
  readonly wound?: readonly WoundEvent[]
  /** Tells its captures' noise and skew from those of other rolls. */
  readonly captureSeed: number
  readonly symbolOf: StudioParts['symbolOf']
  readonly artOf?: StudioParts['artOf']
}

export interface Scenario {
  readonly name: string
  /** The job on the ticket. */
  readonly job: DemoJob
  readonly jobs: readonly DemoJob[]
  readonly files: { readonly line: string; readonly ticket: string }
  readonly packages: readonly ScenarioPackage[]
  readonly plan: RollPlan
  readonly plants: readonly Plant[]
  readonly setupFrames: number
  readonly roll: readonly ScenarioFrame[]
  /** The answer that a label must get when it is first answered. Throws where the roll has no such label. */
  readonly expected: (frame: number, cell: number) => ExpectedAnswer
  readonly escalations: readonly LabelSpot[]
  /** Answers that the withdrawal must revoke. */
  readonly revocable: readonly LabelSpot[]
  readonly splice?: SpliceEvent
  readonly withdrawal?: Withdrawal
  readonly damage?: Damage
  readonly spoiled?: Spoiled
  readonly mended?: Mended
  readonly wound?: readonly WoundEvent[]
  /** A frame's capture: 8-bit gray, as JPEG. The same frame gives the same picture. */
  readonly draw: (frame: ScenarioFrame) => Promise<Buffer>
}

function packagesOf({ jobs, neverReleased }: ScenarioParts): readonly ScenarioPackage[] {
  const isHeld = (job: DemoJob, { design }: DemoVersion): boolean =>
    neverReleased.some((held) => held.job === job.job && held.design === design)
  return jobs.flatMap((job) =>
    job.packages.map((delivery: DemoPackage) => ({
      source: join(demoFolder, job.folder, delivery.folder),
      job: job.job,
      package: delivery.package,
      released: delivery.versions.filter((version) => !isHeld(job, version)),
      held: delivery.versions.filter((version) => isHeld(job, version)),
    })),
  )
}

export function frameAt({ roll }: Pick<Scenario, 'roll'>, frame: number): ScenarioFrame {
  const found = roll[frame]
  if (!found) throw new RangeError(`the roll has no frame ${frame}`)
  return found
}

function spliceEventOf({ splice }: RollPlan, roll: readonly ScenarioFrame[]): SpliceEvent | undefined {
  if (!splice) return undefined
  const { beforeFrame, framesCutOut } = splice
  return { beforeFrame, positionUm: frameAt({ roll }, beforeFrame).positionUm - 3_000, frames: framesCutOut }
}

/** Puts a scenario together from what is particular to its job. */
export function openScenario(parts: ScenarioParts): Scenario {
  const { name, jobs, plan, escalations, withdrawal, damage, spoiled, mended, wound, captureSeed, symbolOf, artOf } =
    parts
  const roll = drawRoll(plan)
  const expectation = { roll, jobs, escalations, ...(withdrawal ? { withdrawal } : {}) }
  const answers = expectAnswers(expectation)
  const splice = spliceEventOf(plan, roll)
  const studio = { web: plan.web, jobs, seed: captureSeed, symbolOf, ...(artOf ? { artOf } : {}) }
  return {
    name,
    job: jobs[0],
    jobs,
    files: { line: join(demoFolder, 'line.json'), ticket: join(demoFolder, name, 'ticket.json') },
    packages: packagesOf(parts),
    plan,
    plants: plan.plants,
    setupFrames: plan.setupFrames,
    roll,
    expected(frame, cell) {
      const answer = answers.get(`${frame}/${cell}`)
      if (!answer) throw new RangeError(`the roll has no label at frame ${frame}, cell ${cell}`)
      return answer
    },
    escalations,
    revocable: expectRevocations(expectation),
    ...(splice ? { splice } : {}),
    ...(withdrawal ? { withdrawal } : {}),
    ...(damage ? { damage } : {}),
    ...(spoiled ? { spoiled } : {}),
    ...(mended ? { mended } : {}),
    ...(wound ? { wound } : {}),
    draw: openStudio(studio),
  }
}
