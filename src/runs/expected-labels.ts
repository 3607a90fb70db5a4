// The sequence of a ticket in memory, small: which version each label of it leads to, and where a code stands. For outlooks alone:
// what a label is answered never hangs on it.
import type { FileHandle } from 'node:fs/promises'
import { cellsOf, readSequence, type SequenceLayout } from '../lines/index.ts'
import { textHash } from './places.ts'
import type { Choice, Identity, Resolver } from './resolve.ts'

export interface ExpectedLabel {
  readonly job: string
  readonly design: string
  readonly version: number
  /** Digests. */
  readonly layers: readonly string[]
}

export interface ExpectedLabels {
  /** Where a code stands; undefined where it stands nowhere, or at several positions. */
  positionOf(code: string): number | undefined
  /** What a label leads to; undefined where that is nothing to lay. */
  at(position: number, cell: number): ExpectedLabel | undefined
  /** One more than the last position. */
  readonly positions: number
}

/** Labels of a sequence that are kept; what comes behind them has no outlook. Some 20 bytes each. */
const labelsKept = 2 ** 21
/** Versions are numbered in 16 bits; 0 is none. */
const choicesMax = 2 ** 16 - 1
const ambiguous = -1

// Open addressing by 32-bit hashes: a code taken for another is one in thousands of millions, and costs a wrong guess.
class Positions {
  #hashes = new Int32Array(4_096)
  #positions = new Int32Array(4_096)
  #count = 0

  #slot(hash: number): number {
    const mask = this.#hashes.length - 1
    let slot = (hash ^ (hash >>> 15)) & mask
    while (this.#hashes[slot] !== 0 && this.#hashes[slot] !== hash) slot = (slot + 1) & mask
    return slot
  }

  get(code: string): number | undefined {
    const hash = textHash(code)
    const slot = this.#slot(hash)
    const position = this.#positions[slot] ?? ambiguous
    return this.#hashes[slot] === 0 || position === ambiguous ? undefined : position
  }

  put(hash: number, position: number): void {
    const slot = this.#slot(hash)
    if (this.#hashes[slot] === hash) {
      if (this.#positions[slot] !== position) this.#positions[slot] = ambiguous
      return
    }
    this.#hashes[slot] = hash
    this.#positions[slot] = position
    if (++this.#count * 2 > this.#hashes.length) this.#grow()
  }

  #grow(): void {
    const [hashes, positions] = [this.#hashes, this.#positions]
    this.#hashes = new Int32Array(hashes.length * 2)
    this.#positions = new Int32Array(hashes.length * 2)
    hashes.forEach((hash, from) => {
      if (hash === 0) return
      const slot = this.#slot(hash)
      this.#hashes[slot] = hash
      this.#positions[slot] = positions[from] ?? ambiguous
    })
  }
}

class Versions {
  readonly all: ExpectedLabel[] = []
  readonly #numbers = new Map<Choice, number>()

  /** From 1; 0 for what is not laid. */
  numberOf({ job, design }: Identity, choice: Choice): number {
    const known = this.#numbers.get(choice)
    if (known !== undefined) return known
    const { version, layers, flags } = choice
    const isLaid = version !== undefined && !flags.some((flag) => flag !== 'superseded')
    if (!isLaid || this.all.length >= choicesMax) return 0
    const digests = [...new Set(layers.map(({ digest }) => digest))]
    const number = this.all.push({ job, design, version: version.version, layers: digests })
    this.#numbers.set(choice, number)
    return number
  }
}

/** Reads a sequence to its end; others get their turn all the while. */
export async function readExpected(order: {
  readonly handle: FileHandle
  readonly layout: SequenceLayout
  readonly resolver: Resolver
}): Promise<ExpectedLabels> {
  const { handle, layout, resolver } = order
  const cells = new Map(layout.cells.map((cell, ordinal) => [cell, ordinal]))
  const codes = new Positions()
  const versions = new Versions()
  let numbers = new Uint16Array(4_096)
  let positions = 0
  const note = (slot: number, number: number): void => {
    while (slot >= numbers.length) {
      const grown = new Uint16Array(numbers.length * 2)
      grown.set(numbers)
      numbers = grown
    }
    numbers[slot] = number
  }
  await readSequence({
    handle,
    file: 'sequence',
    layout,
    take(row) {
      if ((row.position + 1) * cells.size > labelsKept) return
      codes.put(textHash(row.code), row.position)
      positions = row.position + 1
      for (const cell of cellsOf(layout, row)) {
        const found = resolver.resolve(row.code, undefined, cell)
        if (found.kind !== 'label') continue
        note(row.position * cells.size + (cells.get(cell) ?? 0), versions.numberOf(found.identity, found.choice))
      }
    },
  })
  return {
    positions,
    positionOf: (code) => codes.get(code),
    at(position, cell) {
      const ordinal = cells.get(cell)
      if (ordinal === undefined || position < 0 || position >= positions) return undefined
      const number = numbers[position * cells.size + ordinal] ?? 0
      return number === 0 ? undefined : versions.all[number - 1]
    },
  }
}
