// Goes through a ticket's whole sequence with the rules that labels are resolved by in a run, and counts what they lead to.
import { openSerialSet, type SerialSet } from '../../codes/index.ts'
import type { Flag } from '../../kernel/terms.ts'
import type { FrozenVersion } from '../freeze.ts'
import { readSequence, type SequenceOptions, type SequenceOutcome } from '../sequence.ts'
import { cellsOf, type SequenceLayout } from '../sequence-layout.ts'
import type { SequenceRow } from '../sequence-rows.ts'
import { SequenceGaps } from './gaps.ts'

/** A label of the sequence, as an example. */
export interface ReadinessExample {
  readonly position: number
  readonly cell: number
  readonly code: string
}

/** What a code leads to, by the rules of a run. */
export type LabelMeaning =
  | {
      readonly kind: 'label'
      readonly identity: {
        readonly job: string
        readonly design: string
        readonly print?: string | undefined
        readonly serial?: string | undefined
      }
      readonly choice: { readonly version?: FrozenVersion; readonly flags: readonly Flag[] }
    }
  | { readonly kind: 'other-job'; readonly identity: { readonly job: string } }
  | { readonly kind: 'unknown' }

export type ResolveLabel = (code: string, cell: number) => LabelMeaning

/** Labels with one meaning: those that no job knows, those of another job, or those of a (job, design, print version). */
export interface LabelGroup {
  readonly kind: LabelMeaning['kind']
  readonly job?: string
  readonly design?: string
  readonly print?: string
  readonly version?: FrozenVersion
  readonly flags: readonly Flag[]
  readonly labels: number
  readonly examples: readonly ReadinessExample[]
  readonly cells: ReadonlySet<number>
}

export interface SequenceTally extends Omit<SequenceOutcome, 'rows'> {
  readonly labels: number
  readonly groups: readonly LabelGroup[]
  /** Labels whose serial stands on an earlier label of its job; with the codes of the first few. */
  readonly twice: { readonly labels: number; readonly examples: readonly ReadinessExample[] }
  readonly gaps: Pick<SequenceGaps, 'cells' | 'firstCell' | 'positions' | 'firstPosition'>
}

const examplesMax = 3
/** Print versions come from the codes, so groups are bounded here: what goes beyond joins the group of its job. */
const groupsMax = 20_000

type OpenGroup = Omit<LabelGroup, 'labels' | 'examples' | 'cells'> & {
  labels: number
  readonly examples: ReadinessExample[]
  readonly cells: Set<number>
}

interface TallyOptions extends Omit<SequenceOptions, 'take' | 'layout'> {
  readonly layout: SequenceLayout
  readonly resolve: ResolveLabel
}

/** Memory: the groups, and some 16 bytes a serial. The event loop gets its turn all the while. */
export async function tallySequence(options: TallyOptions): Promise<SequenceTally> {
  const tally = new Tally(options.layout, options.resolve)
  const { rows: _rows, ...outcome } = await readSequence({ ...options, take: (row) => tally.take(row) })
  tally.gaps.end()
  const { labels, groups, twice, gaps } = tally
  return { ...outcome, labels, groups: [...groups.values()], twice, gaps }
}

class Tally {
  labels = 0
  readonly groups = new Map<string, OpenGroup>()
  readonly twice = { labels: 0, examples: [] as ReadinessExample[] }
  readonly gaps: SequenceGaps
  readonly #layout: SequenceLayout
  readonly #resolve: ResolveLabel
  readonly #serials = new Map<string, SerialSet>()

  constructor(layout: SequenceLayout, resolve: ResolveLabel) {
    this.gaps = new SequenceGaps(layout)
    this.#layout = layout
    this.#resolve = resolve
  }

  take(row: SequenceRow): void {
    this.gaps.take(row)
    for (const cell of cellsOf(this.#layout, row)) {
      const meaning = this.#resolve(row.code, cell)
      const group = this.#groupOf(meaning)
      this.labels++
      group.labels++
      group.cells.add(cell)
      if (group.examples.length < examplesMax) group.examples.push(exampleOf(row, cell))
      if (meaning.kind === 'label' && this.#standsTwice(meaning.identity, row, cell)) {
        this.twice.labels++
        if (this.twice.examples.length < examplesMax) this.twice.examples.push(exampleOf(row, cell))
      }
    }
  }

  #groupOf(meaning: LabelMeaning): OpenGroup {
    const key = keyOf(meaning)
    const known = this.groups.get(key)
    if (known) return known
    if (this.groups.size >= groupsMax && meaning.kind === 'label' && meaning.identity.print !== undefined) {
      const { job, design } = meaning.identity
      return this.#groupOf({ ...meaning, identity: { job, design } })
    }
    const group = openGroup(meaning)
    this.groups.set(key, group)
    return group
  }

  // Notes the label's serial; whether an earlier label of its job has it.
  #standsTwice({ job, serial }: { job: string; serial?: string | undefined }, row: SequenceRow, cell: number): boolean {
    if (serial === undefined) return false
    let set = this.#serials.get(job)
    if (!set) {
      set = openSerialSet()
      this.#serials.set(job, set)
    }
    // A code that stands for one cell is the label's own; one for several is told apart by the cell.
    return set.add(serial, row.position, this.#layout.identifies === 'cell' ? undefined : cell) !== undefined
  }
}

const exampleOf = ({ position, code }: SequenceRow, cell: number): ReadinessExample => ({ position, cell, code })

function keyOf(meaning: LabelMeaning): string {
  if (meaning.kind === 'unknown') return ''
  const { identity } = meaning
  if (meaning.kind === 'other-job') return identity.job
  return `${identity.job}\n${meaning.identity.design}\n${meaning.identity.print ?? ''}`
}

function openGroup(meaning: LabelMeaning): OpenGroup {
  const counts = { labels: 0, examples: [], cells: new Set<number>() }
  if (meaning.kind === 'unknown') return { kind: meaning.kind, flags: [], ...counts }
  const { job } = meaning.identity
  if (meaning.kind === 'other-job') return { kind: meaning.kind, job, flags: [], ...counts }
  const { design, print } = meaning.identity
  const { version, flags } = meaning.choice
  return {
    kind: meaning.kind,
    job,
    design,
    ...(print === undefined ? {} : { print }),
    ...(version ? { version } : {}),
    flags,
    ...counts,
  }
}
