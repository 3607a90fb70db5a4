// The strip of a roll as it is gathered: a letter a label and a number or two a frame, in flat arrays.
import { toMm } from './wire.ts'

export interface StripColumn {
  readonly frame: number
  readonly positionMm: number
  /** By cell ordinal: l lay, s skip, x stop, u set-up, r revoked, space for none. */
  readonly cells: string
}

export type StripLetter = 'l' | 's' | 'x' | 'u' | 'r' | ' '

const room = 1024

export class StripTable {
  readonly cellCount: number
  frames = 0
  private numbers = new Float64Array(room)
  private positions = new Float64Array(room)
  private letters: Uint8Array<ArrayBuffer>

  constructor(cellCount: number) {
    this.cellCount = cellCount
    this.letters = new Uint8Array(room * cellCount)
  }

  frame({ frame, positionUm }: { frame: number; positionUm: number }): void {
    if (this.frames === this.numbers.length) this.grow()
    this.numbers[this.frames] = frame
    this.positions[this.frames] = positionUm
    this.frames++
  }

  private grow(): void {
    const size = this.numbers.length * 2
    const [numbers, positions] = [new Float64Array(size), new Float64Array(size)]
    const letters = new Uint8Array(size * this.cellCount)
    numbers.set(this.numbers)
    positions.set(this.positions)
    letters.set(this.letters)
    Object.assign(this, { numbers, positions, letters })
  }

  // Frame numbers rise.
  private rowOf(frame: number): number | undefined {
    let [low, high] = [0, this.frames - 1]
    while (low <= high) {
      const middle = (low + high) >> 1
      const found = this.numbers[middle] ?? 0
      if (found === frame) return middle
      if (found < frame) low = middle + 1
      else high = middle - 1
    }
    return undefined
  }

  put({ frame, ordinal }: { frame: number; ordinal: number }, letter: StripLetter): void {
    const row = this.rowOf(frame)
    if (row !== undefined) this.letters[row * this.cellCount + ordinal] = letter.charCodeAt(0)
  }

  frameNumber(row: number): number {
    return this.numbers[row] ?? 0
  }

  positionMm(row: number): number {
    return toMm(this.positions[row] ?? 0)
  }

  /** By cell ordinal; a space for a label without an answer. */
  lettersOf(row: number): string {
    const from = row * this.cellCount
    const codes = this.letters.subarray(from, from + this.cellCount)
    return String.fromCharCode(...codes.map((code) => code || 32))
  }

  columns(): readonly StripColumn[] {
    return Array.from({ length: this.frames }, (_, row) => ({
      frame: this.frameNumber(row),
      positionMm: this.positionMm(row),
      cells: this.lettersOf(row).trimEnd(),
    }))
  }
}
