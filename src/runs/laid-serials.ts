// The serials that a run laid, each with where; exact, some 16 bytes a serial.
import { openSerialSet, type SerialSet } from '../codes/index.ts'

/** A serial that is about to be laid. `cell` where one code stands for several cells. */
export interface SerialInRun {
  readonly runId: string
  readonly pass: number
  readonly job: string
  readonly serial: string
  readonly cell?: number | undefined
}

/** Slots are place × cells of the frame + cell ordinal. */
export class LaidSerials {
  readonly #sets = new Map<string, SerialSet>()

  add(job: string, at: { readonly serial: string; readonly cell?: number | undefined; readonly slot: number }): void {
    const set = this.#sets.get(job) ?? openSerialSet()
    this.#sets.set(job, set)
    set.add(at.serial, at.slot, at.cell)
  }

  /** The slot where a serial was last laid. */
  slotOf(job: string, serial: string, cell: number | undefined): number | undefined {
    return this.#sets.get(job)?.get(serial, cell)
  }

  get size(): number {
    return [...this.#sets.values()].reduce((sum, set) => sum + set.size, 0)
  }

  sets(): ReadonlyMap<string, SerialSet> {
    return this.#sets
  }
}
