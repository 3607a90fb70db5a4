// The record of a run with everything that follows from it: finished rolls and where they came from, reconciliation, pull list,
// make-good list. One pass over the ledger; the lists are streamed from its tables.
import { toDigest } from '../../kernel/bytes.ts'
import { Problem } from '../../kernel/problem.ts'
import { previewOf, type VersionName } from '../../packages/index.ts'
import type { BlobStore, Database } from '../../storage/port.ts'
import { type FinishedRoll, lengthUm, standingEvents, toleranceUm, type WoundWeb, windUp } from '../finished-rolls.ts'
import { type GatheredRun, gatherRun } from '../report.ts'
import type { Run } from '../run.ts'
import { toMm } from '../wire.ts'
import { expectedCodes } from './expected-codes.ts'
import { openNames } from './label-names.ts'
import { MakeGood, type MakeGoodWith } from './make-good.ts'
import { type PullRow, type PullWith, pullRows } from './pull-list.ts'
import { type Reconciliation, reconcile } from './reconciliation.ts'

export interface RecordParts {
  readonly database: Database
  readonly blobs: BlobStore
}

/** What a stretch of a finished roll was before it was run. */
export interface Origin {
  readonly runId: string
  readonly ticket: string
  /** The roll that was unwound. */
  readonly roll: string
  readonly pass: number
  /** Encoder positions of its first mark and of the end of its last frame, in the order of the web. */
  readonly fromMm: number
  readonly toMm: number
  readonly firstFrame?: number
  readonly lastFrame?: number
  readonly frames: number
}

export interface FinishedView {
  readonly roll: string
  /** Absent: all. */
  readonly lanes?: readonly number[]
  readonly slitFrom?: string
  /** Whether its outside is what was wound first. */
  readonly rewound: boolean
  readonly lengthM: number
  readonly frames: number
  readonly labels: number
  /** Of its outermost label, m. */
  readonly toleranceM: { readonly outside: number; readonly inside: number }
  readonly outerFrame?: number
  readonly innerFrame?: number
  readonly joins: number
  /** Back to what was unwound, in the order of the web. */
  readonly origins: readonly Origin[]
}

export class RollRecord {
  readonly run: Run
  readonly gathered: GatheredRun
  readonly wound: WoundWeb
  private readonly parts: RecordParts
  private readonly nameOf
  private recalledUses: ReadonlySet<number> | undefined

  constructor(run: Run, gathered: GatheredRun, parts: RecordParts) {
    const { fold } = gathered
    this.run = run
    this.gathered = gathered
    this.parts = parts
    this.nameOf = openNames(parts.database, run.runId, fold)
    this.wound = windUp(fold.web, { events: fold.material, lanes: fold.lanes })
  }

  get database(): Database {
    return this.parts.database
  }

  /** The picture of a version (PNG); undefined where none was drawn, or where it is damaged. */
  async picture(version: VersionName): Promise<Uint8Array | undefined> {
    const digest = await previewOf(this.parts.database, version)
    return digest && (await this.parts.blobs.read(digest).catch(() => undefined))
  }

  /** How often the web was threaded again: metres across that are not measured. */
  get rethreadings(): number {
    return Math.max(0, this.gathered.fold.web.threadings.length - 1)
  }

  get material() {
    return standingEvents(this.gathered.fold.material)
  }

  reconciliation(): Reconciliation {
    return reconcile(this.gathered.fold, this.wound)
  }

  private originsOf({ ranges }: FinishedRoll): readonly Origin[] {
    const { web } = this.gathered.fold
    return ranges.flatMap(({ firstPlace, lastPlace }) =>
      web.tickets.flatMap(({ firstPlace: begins, ticket, roll, pass }, i) => {
        const first = Math.max(firstPlace, i === 0 ? 0 : begins)
        const last = Math.min(lastPlace, (web.tickets[i + 1]?.firstPlace ?? web.places) - 1)
        if (first > last) return []
        const [firstFrame, lastFrame] = [web.frame(first), web.frame(last)]
        return [
          {
            runId: this.run.runId,
            ticket,
            roll,
            pass,
            fromMm: toMm(web.positionUm(first)),
            toMm: toMm(web.positionUm(last) + web.pitchUm),
            ...(firstFrame === undefined ? {} : { firstFrame }),
            ...(lastFrame === undefined ? {} : { lastFrame }),
            frames: last - first + 1,
          },
        ]
      }),
    )
  }

  /** The finished rolls, in the order in which they were wound up. */
  finished(): readonly FinishedView[] {
    return this.wound.rolls.map((roll) => this.view(roll))
  }

  private view(roll: FinishedRoll): FinishedView {
    const { web, cells } = this.gathered.fold
    const frames = roll.ranges.reduce((sum, { firstPlace, lastPlace }) => sum + lastPlace - firstPlace + 1, 0)
    const [first, last] = [roll.ranges[0]?.firstPlace, roll.ranges.at(-1)?.lastPlace]
    const [outer, inner] = roll.rewound ? [first, last] : [last, first]
    const frameOf = (place: number | undefined): number | undefined =>
      place === undefined ? undefined : web.frame(place)
    const [outerFrame, innerFrame] = [frameOf(outer), frameOf(inner)]
    const tolerance = (place: number | undefined): number =>
      place === undefined ? 0 : Math.round(toleranceUm(web, roll, web.webUm(place)) / 1000) / 1000
    return {
      roll: roll.roll,
      ...(roll.lanes ? { lanes: roll.lanes } : {}),
      ...(roll.slitFrom === undefined ? {} : { slitFrom: roll.slitFrom }),
      rewound: roll.rewound,
      lengthM: Math.round(lengthUm(roll) / 1000) / 1000,
      frames,
      labels: frames * cells.filter(({ lane }) => !roll.lanes || roll.lanes.includes(lane)).length,
      toleranceM: { outside: tolerance(outer), inside: tolerance(inner) },
      ...(outerFrame === undefined ? {} : { outerFrame }),
      ...(innerFrame === undefined ? {} : { innerFrame }),
      joins: roll.joinsUm.length,
      origins: this.originsOf(roll),
    }
  }

  /** Numbers of uses whose version was withdrawn by now. */
  private async recalled(): Promise<ReadonlySet<number>> {
    if (this.recalledUses) return this.recalledUses
    const { uses } = this.gathered.fold.labels
    if (uses.length === 0) return new Set()
    const jobs = [...new Set(uses.map(({ job }) => job))]
    const rows = await this.parts.database.catalogue
      .selectFrom('versions')
      .select(['job', 'design', 'version'])
      .where('withdrawnAtMs', 'is not', null)
      .where('job', 'in', jobs)
      .execute()
    const withdrawn = new Set(rows.map(({ job, design, version }) => `${job}\n${design}\n${version}`))
    this.recalledUses = new Set(
      uses.flatMap(({ job, design, version }, i) => (withdrawn.has(`${job}\n${design}\n${version}`) ? [i] : [])),
    )
    return this.recalledUses
  }

  /**
   * Places to stop at, roll by roll, from the outside of each as it is wound now, or as it would be after one more rewinding. Problem
   * `roll-unknown` for a roll that the run has not.
   */
  async *pullList({
    roll,
    rewound = false,
  }: {
    roll?: string | undefined
    rewound?: boolean
  } = {}): AsyncGenerator<PullRow> {
    const given: PullWith = { fold: this.gathered.fold, nameOf: this.nameOf, recalled: await this.recalled() }
    for (const row of this.rollsNamed(roll)) {
      yield* pullRows(given, rewound ? { ...row, rewound: !row.rewound } : row)
    }
  }

  /** All finished rolls, or the one of this name. Problem `roll-unknown`. */
  rollsNamed(name: string | undefined): readonly FinishedRoll[] {
    const { rolls } = this.wound
    const found = rolls.filter(({ roll }) => name === undefined || roll === name)
    if (found.length > 0 || name === undefined) return found
    const list = rolls.map(({ roll }) => roll).join(', ') || 'none'
    throw new Problem('roll-unknown', `run ${this.run.runId} has no finished roll ${name}`, {
      measured: name,
      limit: list,
    })
  }

  async makeGood(): Promise<MakeGood> {
    const { fold } = this.gathered
    const { state } = this.run
    const cellCount = fold.cells.length
    const given: MakeGoodWith = {
      fold,
      wound: this.wound,
      nameOf: this.nameOf,
      recalled: await this.recalled(),
      jobs: new Set(state.frozen.jobs.map(({ job }) => job)),
      identifies: state.frozen.jobs[0]?.frame.codeAt.identifies ?? 'cell',
      expected: new Map(),
      laidAt({ job, serial }, ordinal) {
        const slot =
          serial === undefined ? undefined : state.serials.slotOf(job, serial, state.cells[ordinal]?.serialCell)
        return slot === undefined ? undefined : { place: Math.floor(slot / cellCount), ordinal: slot % cellCount }
      },
    }
    const { sequence } = state.ticket
    if (!sequence) return new MakeGood(given)
    const file = await this.parts.blobs.localFile(toDigest(sequence.sha256))
    const from = { fold, nameOf: this.nameOf, file }
    return new MakeGood({ ...given, expected: await expectedCodes(from, new MakeGood(given).unknownSections()) })
  }
}

/** Works out the record of a run as it stands in its ledger now. */
export async function openRollRecord(parts: RecordParts, run: Run): Promise<RollRecord> {
  return new RollRecord(run, await gatherRun(parts.database, run), parts)
}
