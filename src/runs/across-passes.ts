// A roll across its passes: which runs passed over it, and for each version how many labels got all its layers, some, or none. Labels
// are found by identity, so a roll that was split, joined or renamed between passes is followed. Memory: some 30 bytes a label of the
// roll, and one other run's snapshot at a time.
import { openSerialSet, type SerialSet } from '../codes/index.ts'
import type { Catalogue } from '../packages/index.ts'
import { type LabelCount, openTally, type VersionAcross } from './across-passes-tally.ts'
import { joined, OutcomeTable, type PassOutcome } from './earlier-pass-outcomes.ts'

export interface RunLabels {
  readonly labels: number
  /** Labels that no serial ties to another pass: not read, or their codes carry none. */
  readonly untied: number
}

/** A run with what became of its labels, for the report. */
export interface PassRun {
  readonly runId: string
  readonly ticket: string
  readonly line: string
  readonly state: string
  readonly createdAtMs: number
  readonly pass: number
  /** Of its tickets, in order. */
  readonly rolls: readonly string[]
  readonly jobs: readonly string[]
  readonly counts: () => Promise<RunLabels>
  /** What became of the labels of a job; undefined where it has none. */
  readonly outcomes: (
    job: string,
  ) => Promise<{ readonly rows: readonly PassOutcome[]; readonly set: SerialSet } | undefined>
}

export interface RunOverRoll extends Omit<PassRun, 'outcomes' | 'counts' | 'jobs'>, RunLabels {
  /** Labels of the roll that it saw and whose serials tie them to other passes. */
  readonly ofRoll: number
}

export interface RollAcrossPasses {
  readonly roll: string
  readonly passes: readonly number[]
  /** By pass, then time: those over the roll, and those over other rolls that had labels of it. */
  readonly runs: readonly RunOverRoll[]
  readonly versions: readonly VersionAcross[]
  readonly total: LabelCount
}

/** Outcomes of the roll's labels in one pass: by label, the number of a row plus one. */
class PassColumn {
  readonly #table = new OutcomeTable()
  #numbers: Uint32Array

  constructor(labels: number) {
    this.#numbers = new Uint32Array(labels)
  }

  add(label: number, outcome: PassOutcome): void {
    const known = this.at(label)
    this.#numbers[label] = this.#table.numberOf(known ? joined(known, outcome) : outcome) + 1
  }

  at(label: number): PassOutcome | undefined {
    return this.#table.rows[(this.#numbers[label] ?? 0) - 1]
  }
}

// Labels of the roll, numbered in the order in which they were come upon.
async function labelsOf(roll: string, job: string, runs: readonly PassRun[]): Promise<SerialSet> {
  const labels = openSerialSet()
  for (const run of runs) {
    if (!run.rolls.includes(roll)) continue
    const found = await run.outcomes(job)
    await found?.set.visit((serial, cell, tag) => {
      const isOf = found.rows[tag]?.roll === roll
      if (isOf && labels.get(serial, cell) === undefined) labels.add(serial, labels.size, cell)
    })
  }
  return labels
}

interface Columns {
  readonly byPass: Map<number, PassColumn>
  /** How many of the labels each run saw. */
  readonly seen: Map<string, number>
}

async function columnsOf(job: string, labels: SerialSet, runs: readonly PassRun[]): Promise<Columns> {
  const columns: Columns = { byPass: new Map(), seen: new Map() }
  for (const { runId, pass, outcomes } of runs) {
    const found = await outcomes(job)
    if (!found) continue
    const column = columns.byPass.get(pass) ?? new PassColumn(labels.size)
    let seen = 0
    await found.set.visit((serial, cell, tag) => {
      const label = labels.get(serial, cell)
      const outcome = found.rows[tag]
      if (label === undefined || !outcome) return
      seen++
      column.add(label, outcome)
    })
    if (seen > 0) columns.byPass.set(pass, column)
    columns.seen.set(runId, seen)
  }
  return columns
}

const layerPasses = (catalogue: Catalogue, job: string) => (design: string, version: number) => {
  const found = catalogue.jobs
    .get(job)
    ?.designs.get(design)
    ?.find((row) => row.version === version)
  return [...new Set(found?.layers.map((layer) => layer.pass))].toSorted((a, b) => a - b)
}

const byPassThenTime = (a: PassRun, b: PassRun): number => a.pass - b.pass || a.createdAtMs - b.createdAtMs

/** The report of a roll. Versions and passes without labels of the roll are left out. */
export async function acrossPasses(
  roll: string,
  { runs, catalogue }: { readonly runs: readonly PassRun[]; readonly catalogue: Catalogue },
): Promise<RollAcrossPasses> {
  const over = runs.filter(({ rolls }) => rolls.includes(roll))
  const jobs = [...new Set(over.flatMap((run) => run.jobs))].toSorted()
  const tally = openTally()
  const passes = new Set(over.map(({ pass }) => pass))
  const seen = new Map<string, number>()
  for (const job of jobs) {
    const labels = await labelsOf(roll, job, over)
    const columns = await columnsOf(job, labels, runs)
    for (const pass of columns.byPass.keys()) passes.add(pass)
    for (const [runId, count] of columns.seen) seen.set(runId, (seen.get(runId) ?? 0) + count)
    const byPass = [...columns.byPass].toSorted(([a], [b]) => a - b)
    const passesOf = layerPasses(catalogue, job)
    await labels.visit((serial, cell, label) => {
      const found = byPass.flatMap(([pass, column]) => {
        const outcome = column.at(label)
        return outcome ? [{ pass, outcome }] : []
      })
      tally.add({ job, serial, ...(cell === 0 ? {} : { cell }) }, found, passesOf)
    })
  }
  const known = runs.filter((run) => run.rolls.includes(roll) || (seen.get(run.runId) ?? 0) > 0)
  const listed: RunOverRoll[] = []
  for (const { outcomes: _, jobs: __, counts, ...run } of known.toSorted(byPassThenTime)) {
    const { labels, untied } = await counts()
    listed.push({ ...run, labels, untied, ofRoll: seen.get(run.runId) ?? 0 })
  }
  return { roll, passes: [...passes].toSorted((a, b) => a - b), runs: listed, ...tally.result() }
}
