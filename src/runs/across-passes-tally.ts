// Counting what became of labels over all their passes: each label is counted once, and under one heading.
import { type PassOutcome, sameVersion } from './earlier-pass-outcomes.ts'

/**
 * `complete`: laid in every pass that its version has layers in. `partly`: laid in one of these, skipped in another. `toCome`: laid in
 * those that saw it, and not seen in another. `never`: laid in none. `setUp`: laid as set-up, so waste. `cutOut`: taken out of the web
 * after a pass, whatever was laid. `unclear`: no one can say what lies on it, or two versions do.
 */
export const labelStates = ['complete', 'partly', 'toCome', 'never', 'setUp', 'cutOut', 'unclear'] as const
export type LabelState = (typeof labelStates)[number]

export interface LabelName {
  readonly job: string
  readonly serial: string
  /** Where one code stands for several cells. */
  readonly cell?: number
}

export type LabelCount = { [S in LabelState]: number } & { labels: number }

export interface InPass {
  readonly pass: number
  /** The four and `notSeen` sum to the version's labels. */
  laid: number
  skipped: number
  setUp: number
  unclear: number
  notSeen: number
}

export interface VersionAcross extends LabelCount {
  readonly job: string
  readonly design: string
  /** Absent for labels that no version fitted. */
  readonly version?: number
  /** Passes that the version has layers in. */
  readonly layerPasses: readonly number[]
  readonly byPass: readonly InPass[]
  /** Some of the labels under each heading but `complete`: the lowest serials. */
  readonly examples: { readonly [S in LabelState]?: readonly Omit<LabelName, 'job'>[] }
}

export interface InOnePass {
  readonly pass: number
  readonly outcome: PassOutcome
}

const examplesMax = 5
const counters = { laid: 'laid', skipped: 'skipped', 'set-up': 'setUp', unclear: 'unclear' } as const

/** The heading of a label; `layerPasses` are those of the version that its newest pass resolved. */
export function stateOf(found: readonly InOnePass[], layerPasses: readonly number[]): LabelState {
  if (found.at(-1)?.outcome.cut) return 'cutOut'
  const lies = found.filter(({ outcome }) => outcome.did !== 'skipped' && outcome.bare === undefined)
  if (lies.some(({ outcome }) => outcome.did === 'unclear')) return 'unclear'
  const [first] = lies
  if (first && lies.some(({ outcome }) => !sameVersion(outcome, first.outcome))) return 'unclear'
  if (lies.some(({ outcome }) => outcome.did === 'set-up')) return 'setUp'
  const laidIn = new Set(lies.map(({ pass }) => pass))
  // A version without layers is complete where a run let it pass as such.
  if (layerPasses.length === 0) return found.some(({ outcome }) => outcome.did === 'laid') ? 'complete' : 'never'
  if (layerPasses.every((pass) => laidIn.has(pass))) return 'complete'
  if (laidIn.size === 0) return 'never'
  const seenIn = new Set(found.map(({ pass }) => pass))
  return layerPasses.some((pass) => seenIn.has(pass) && !laidIn.has(pass)) ? 'partly' : 'toCome'
}

const bySerial = (a: { serial: string; cell?: number }, b: { serial: string; cell?: number }): number =>
  a.serial.length - b.serial.length ||
  (a.serial < b.serial ? -1 : a.serial > b.serial ? 1 : 0) ||
  (a.cell ?? 0) - (b.cell ?? 0)

function addExample(examples: Map<LabelState, Omit<LabelName, 'job'>[]>, state: LabelState, label: LabelName): void {
  if (state === 'complete') return
  const { job: _, ...example } = label
  const kept = examples.get(state) ?? []
  examples.set(state, kept)
  const last = kept[examplesMax - 1]
  if (last && bySerial(last, example) <= 0) return
  kept.push(example)
  kept.sort(bySerial)
  if (kept.length > examplesMax) kept.pop()
}

interface Counting {
  readonly row: LabelCount & { job: string; design: string; version?: number; layerPasses: readonly number[] }
  readonly byPass: Map<number, InPass>
  readonly examples: Map<LabelState, Omit<LabelName, 'job'>[]>
}

const noLabels = (): LabelCount => ({
  ...{ labels: 0, complete: 0, partly: 0, toCome: 0 },
  ...{ never: 0, setUp: 0, cutOut: 0, unclear: 0 },
})

// What the newest pass resolved; where it found no version, an earlier one that did.
function resolvedOf(found: readonly InOnePass[]): PassOutcome | undefined {
  return (found.findLast(({ outcome }) => outcome.version !== undefined) ?? found.at(-1))?.outcome
}

export interface Tally {
  add(
    label: LabelName,
    found: readonly InOnePass[],
    layerPassesOf: (design: string, version: number) => readonly number[],
  ): void
  result(): { readonly versions: readonly VersionAcross[]; readonly total: LabelCount }
}

export function openTally(): Tally {
  const all = new Map<string, Counting>()
  const passes = new Set<number>()

  const countingOf = (
    { job }: LabelName,
    { design, version }: PassOutcome,
    layerPassesOf: (design: string, version: number) => readonly number[],
  ): Counting => {
    const key = `${job}\n${design}\n${version ?? ''}`
    const known = all.get(key)
    if (known) return known
    const layerPasses = version === undefined ? [] : layerPassesOf(design, version)
    const named = { job, design, ...(version === undefined ? {} : { version }), layerPasses }
    const counting = { row: { ...named, ...noLabels() }, byPass: new Map(), examples: new Map() }
    all.set(key, counting)
    return counting
  }

  return {
    add(label, found, layerPassesOf) {
      const resolved = resolvedOf(found)
      if (!resolved) return
      const { row, byPass, examples } = countingOf(label, resolved, layerPassesOf)
      row.labels++
      const state = stateOf(found, row.layerPasses)
      row[state]++
      addExample(examples, state, label)
      for (const { pass, outcome } of found) {
        passes.add(pass)
        const inPass = byPass.get(pass) ?? { pass, laid: 0, skipped: 0, setUp: 0, unclear: 0, notSeen: 0 }
        byPass.set(pass, inPass)
        inPass[counters[outcome.did]]++
      }
    },
    result() {
      const total = noLabels()
      const versions = [...all.values()].map((counting) => {
        for (const name of ['labels', ...labelStates] as const) total[name] += counting.row[name]
        return finished(counting, passes)
      })
      return { versions: versions.toSorted(byName), total }
    },
  }
}

// A pass that other labels went through, or that the version has layers in, is told of even where none was seen in it.
function finished({ row, byPass, examples }: Counting, passes: ReadonlySet<number>): VersionAcross {
  const shown = [...new Set([...passes, ...row.layerPasses])].toSorted((a, b) => a - b)
  return {
    ...row,
    byPass: shown.map((pass) => {
      const { laid = 0, skipped = 0, setUp = 0, unclear = 0 } = byPass.get(pass) ?? {}
      return { pass, laid, skipped, setUp, unclear, notSeen: row.labels - laid - skipped - setUp - unclear }
    }),
    examples: Object.fromEntries(examples),
  }
}

const byName = (a: VersionAcross, b: VersionAcross): number =>
  a.job.localeCompare(b.job, 'en') || a.design.localeCompare(b.design, 'en') || (a.version ?? 0) - (b.version ?? 0)
