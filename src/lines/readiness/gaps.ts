// What a sequence leaves out: cells at positions that have others, and positions between its first and its last.
import { coveredBy, type SequenceLayout } from '../sequence-layout.ts'
import type { SequenceRow } from '../sequence-rows.ts'

/** Takes sound rows in order. Nothing is left out before the first position: a roll may begin anywhere in what was printed. */
export class SequenceGaps {
  cells = 0
  firstCell: { readonly position: number; readonly cell: number } | undefined
  positions = 0
  firstPosition: number | undefined
  readonly #layout: SequenceLayout
  readonly #covered = new Set<number>()
  #position: number | undefined

  constructor(layout: SequenceLayout) {
    this.#layout = layout
  }

  take(row: SequenceRow): void {
    if (row.position !== this.#position) this.#begin(row.position)
    for (const cell of coveredBy(this.#layout, row)) this.#covered.add(cell)
  }

  #begin(position: number): void {
    this.end()
    if (this.#position !== undefined && position > this.#position + 1) {
      this.positions += position - this.#position - 1
      this.firstPosition ??= this.#position + 1
    }
    this.#position = position
    this.#covered.clear()
  }

  /** Behind the last row. */
  end(): void {
    const position = this.#position
    const { cells } = this.#layout
    if (position === undefined || this.#covered.size >= cells.length) return
    this.cells += cells.length - this.#covered.size
    const cell = cells.find((candidate) => !this.#covered.has(candidate))
    if (cell !== undefined) this.firstCell ??= { position, cell }
  }
}
