// What became of every label of a run: one row a place and cell, however often the web was backed up. Flat arrays, 18 bytes a label.
import { assert } from '../../kernel/assert.ts'
import { type Flag, flags } from '../../kernel/terms.ts'
import type { EntryBodies } from '../../ledger/index.ts'

/** Every label is in exactly one of these. */
export const labelClasses = ['laid', 'skipped', 'set-up', 'spoiled', 'unaccounted'] as const
export type LabelClass = (typeof labelClasses)[number]

/** What the deciding answer of a label came to. */
const fates = ['nothing', 'lay', 'skip', 'stop', 'revoked', 'none'] as const
export type Fate = (typeof fates)[number]
const fateOf = { lay: 1, skip: 2, stop: 3 } as const

const setUpBit = 1
/** What a report said that spoils a label, and in what words it is told. */
const spoilings = { part: 2, unknown: 4, against: 8 } as const
const spoiledBits = spoilings.part | spoilings.unknown | spoilings.against
const spoiledWords = [
  [spoilings.part, 'reported laid in part'],
  [spoilings.unknown, 'reported unknown'],
  [spoilings.against, 'reported laid against its answer'],
] as const

/** A version of a design, as labels name it; the version is absent where the label has none. */
export interface DesignUse {
  readonly job: string
  readonly design: string
  readonly version?: number
}

const room = 4096

type Column = Int32Array | Uint32Array | Uint8Array

function grown<T extends Column>(from: T, into: T): T {
  into.set(from)
  return into
}

export class LabelTable {
  readonly cellCount: number
  readonly uses: DesignUse[] = []
  private readonly useNumbers = new Map<string, number>()
  private fates = new Uint8Array(room)
  private bits = new Uint8Array(room)
  private flagSets = new Uint32Array(room)
  /** Ledger index + 1 of the deciding answer, and of the last one that named the label; 0: none. */
  private answers = new Int32Array(room)
  private named = new Int32Array(room)
  private useOf = new Uint32Array(room)

  constructor(cellCount: number) {
    assert(cellCount > 0, 'a frame has cells')
    this.cellCount = cellCount
  }

  private slot(place: number, ordinal: number): number {
    const slot = place * this.cellCount + ordinal
    while (slot >= this.fates.length) this.grow(this.fates.length * 2)
    return slot
  }

  private grow(size: number): void {
    this.fates = grown(this.fates, new Uint8Array(size))
    this.bits = grown(this.bits, new Uint8Array(size))
    this.flagSets = grown(this.flagSets, new Uint32Array(size))
    this.answers = grown(this.answers, new Int32Array(size))
    this.named = grown(this.named, new Int32Array(size))
    this.useOf = grown(this.useOf, new Uint32Array(size))
  }

  private fateAt(slot: number): Fate {
    return fates[this.fates[slot] ?? 0] ?? 'nothing'
  }

  /** A standing lay decides, and names the label; else the last answer does. A label is set-up when nothing of the run proper decided it. */
  answer(body: EntryBodies['answer'], at: { readonly index: number; readonly ordinal: number }): void {
    const slot = this.slot(body.place, at.ordinal)
    if (this.fateAt(slot) === 'lay') return
    if (body.identity) this.name(slot, body.identity, at.index)
    const before = this.fates[slot] ?? 0
    const wasProper = before !== 0 && ((this.bits[slot] ?? 0) & setUpBit) === 0
    const isSetUp = body.setup === 1 && (body.decision === 'lay' || !wasProper)
    this.fates[slot] = fateOf[body.decision]
    this.bits[slot] = ((this.bits[slot] ?? 0) & spoiledBits) | (isSetUp ? setUpBit : 0)
    this.answers[slot] = at.index + 1
    this.flagSets[slot] = body.flags.reduce((set, flag) => set | (1 << flags.indexOf(flag)), 0)
  }

  private name(
    slot: number,
    { job, design, version }: NonNullable<EntryBodies['answer']['identity']>,
    index: number,
  ): void {
    const key = `${job}\n${design}\n${version ?? ''}`
    let number = this.useNumbers.get(key)
    if (number === undefined) {
      number = this.uses.length
      this.uses.push({ job, design, ...(version === undefined ? {} : { version }) })
      this.useNumbers.set(key, number)
    }
    this.useOf[slot] = number
    this.named[slot] = index + 1
  }

  revocation(
    { answer, flag }: EntryBodies['revocation'],
    at: { readonly place: number; readonly ordinal: number },
  ): void {
    const slot = this.slot(at.place, at.ordinal)
    if (this.answers[slot] !== answer + 1 || this.fateAt(slot) !== 'lay') return
    this.fates[slot] = fates.indexOf('revoked')
    this.flagSets[slot] = (this.flagSets[slot] ?? 0) | (1 << flags.indexOf(flag))
  }

  /**
   * A report on the sighting whose answer is at `index`. Anything laid on a label that was not to get it spoils it, as does a layer
   * that lies there in part or nobody knows how.
   */
  laid(
    word: EntryBodies['laid']['laid'],
    at: { readonly place: number; readonly ordinal: number; readonly index: number },
  ): void {
    const slot = this.slot(at.place, at.ordinal)
    const isOfLay = this.answers[slot] === at.index + 1 && this.fateAt(slot) === 'lay'
    if (word === 'none') {
      if (isOfLay) this.fates[slot] = fates.indexOf('none')
      return
    }
    if (isOfLay && word === 'full') return
    this.bits[slot] = (this.bits[slot] ?? 0) | (word === 'full' ? spoilings.against : spoilings[word])
  }

  private known(place: number, ordinal: number): number {
    return place * this.cellCount + ordinal
  }

  fate(place: number, ordinal: number): Fate {
    return this.fateAt(this.known(place, ordinal))
  }

  /**
   * The one class of a label, `cut` where it was taken out after laying: `set-up` what only set-up decided; `spoiled` what was cut out
   * or reported laid in part, unknown, or against its answer; `unaccounted` what has no answer; `laid`; `skipped` the rest.
   */
  classOf(place: number, ordinal: number, cut = false): LabelClass {
    const slot = this.known(place, ordinal)
    const bits = this.bits[slot] ?? 0
    const fate = this.fateAt(slot)
    if (fate !== 'nothing' && (bits & setUpBit) !== 0) return 'set-up'
    if (cut || (bits & spoiledBits) !== 0) return 'spoiled'
    if (fate === 'nothing') return 'unaccounted'
    return fate === 'lay' ? 'laid' : 'skipped'
  }

  /** Of the deciding answer and its revocation. */
  flagsOf(place: number, ordinal: number): readonly Flag[] {
    const set = this.flagSets[this.known(place, ordinal)] ?? 0
    return set === 0 ? [] : flags.filter((_, i) => (set & (1 << i)) !== 0)
  }

  /** What reports said that spoils it; empty where it is spoiled by a cut-out or not at all. */
  spoiledBy(place: number, ordinal: number): string {
    const bits = this.bits[this.known(place, ordinal)] ?? 0
    return spoiledWords.flatMap(([bit, words]) => ((bits & bit) === 0 ? [] : [words])).join(', ')
  }

  /** Number in `uses` of what the label was laid or else last named as; undefined where no job knew it. */
  use(place: number, ordinal: number): number | undefined {
    const slot = this.known(place, ordinal)
    return this.named[slot] ? this.useOf[slot] : undefined
  }

  /** Ledger index of the answer that names the label. */
  namedAt(place: number, ordinal: number): number | undefined {
    const at = this.named[this.known(place, ordinal)]
    return at ? at - 1 : undefined
  }

  /** Ledger index of the answer that decides. */
  decidedAt(place: number, ordinal: number): number | undefined {
    const at = this.answers[this.known(place, ordinal)]
    return at ? at - 1 : undefined
  }
}
