// Row by row through a sequence: what each says, and what it cannot say after the rows before it.
import {
  cellOf,
  excerpt,
  type FindingText,
  faultText,
  isSound,
  type Scan,
  type TableFindings,
  whyUnsound,
} from '../codes/index.ts'
import { limits } from '../kernel/limits.ts'
import type { ProblemCode } from '../kernel/problem.ts'
import { unguardCell } from '../kernel/spreadsheet-cell.ts'
import { rowsWithoutCell, type SequenceLayout } from './sequence-layout.ts'

/** A sound row. */
export interface SequenceRow {
  /** In printed order, from 0. */
  readonly position: number
  /** 0 where it is left out: the code stands for a lane or the frame. */
  readonly cell: number
  /** How many rows of the position left their cell out before this one. */
  readonly ordinal: number
  readonly code: string
}

interface Reading {
  readonly places: Readonly<Record<'position' | 'cell' | 'code', number>>
  readonly findings: TableFindings
  readonly layout: SequenceLayout | undefined
  readonly take: ((row: SequenceRow) => void) | undefined
}

interface Fault {
  readonly code: ProblemCode
  readonly make: () => FindingText
}

const fault = (code: ProblemCode, make: () => FindingText): Fault => ({ code, make })

type Span = readonly [from: number, to: number]

const digit0 = 0x30
const apostrophe = 0x27
const digitsMax = String(limits.sequencePositionMax).length

// -1 where the bytes are no whole number up to the limit; zeros in front are the press's way of keeping columns straight.
function positionOf(bytes: Buffer, [from, to]: Span): number {
  if (to === from || to - from > digitsMax) return -1
  let value = 0
  for (let at = from; at < to; at++) {
    const digit = (bytes[at] as number) - digit0
    if (digit < 0 || digit > 9) return -1
    value = value * 10 + digit
  }
  return value
}

/** Takes in the rows of a sequence, batch by batch. */
export class SequenceRows {
  readonly #reading: Reading
  readonly #known: ReadonlySet<number> | undefined
  readonly #withoutCellMax: number
  readonly #row = { position: -1, cell: 0, ordinal: 0, code: '' }
  /** Whether all of the batch is sound as text, so that no row needs to be looked at by itself. */
  #isText = true
  #rows = 0
  #positions = 0
  /** Of the position in hand: rows without a cell and with one, and which position (counted from 1) named each cell last. */
  #withoutCell = 0
  #withCell = 0
  readonly #namedAt = new Uint32Array(limits.cellsMax + 1)

  constructor(reading: Reading) {
    this.#reading = reading
    this.#known = reading.layout && new Set(reading.layout.cells)
    this.#withoutCellMax = reading.layout ? rowsWithoutCell(reading.layout) : limits.cellsMax
  }

  /** Begins a batch, and notes its rows that cannot be read. */
  begin(scan: Scan): void {
    this.#isText = isSound(scan)
    for (const broken of scan.faults) {
      const code = broken.flaw === 'nul' ? 'sequence-encoding' : 'sequence-row'
      this.#reading.findings.add(code, broken.line, () => faultText(scan, broken))
    }
  }

  takeFrom(scan: Scan, { from, to }: { from: number; to: number }): void {
    const { findings, take } = this.#reading
    for (let index = from; index < to; index++) {
      const found = this.#read(scan, index)
      if (found) findings.add(found.code, scan.lines[index] as number, found.make)
      else {
        this.#rows++
        take?.(this.#row)
      }
    }
  }

  counts(): { readonly rows: number; readonly positions: number } {
    return { rows: this.#rows, positions: this.#positions }
  }

  #read(scan: Scan, index: number): Fault | undefined {
    const unsound = this.#isText ? undefined : whyUnsound(scan, index)
    if (unsound) return fault('sequence-encoding', unsound)
    const { position, cell, code } = this.#reading.places
    const base = index * scan.columns
    return (
      this.#readPosition(scan, spanOf(scan, base + position)) ??
      this.#readCell(scan, cell < 0 ? [0, 0] : spanOf(scan, base + cell)) ??
      this.#readCode(scan, spanOf(scan, base + code))
    )
  }

  #readPosition({ bytes }: Scan, span: Span): Fault | undefined {
    const position = positionOf(bytes, span)
    const before = this.#row.position
    if (position < 0) {
      const message = `the position is no whole number from 0 to ${limits.sequencePositionMax}`
      return fault('sequence-position', () => ({ message, measured: excerpt(bytes.toString('utf8', ...span)) }))
    }
    if (position !== before) {
      this.#row.position = position
      this.#positions++
      this.#withoutCell = 0
      this.#withCell = 0
    }
    if (position >= before) return undefined
    const message = 'the position is lower than the one before; rows stand in printed order'
    return fault('sequence-position', () => ({ message, measured: position, limit: before }))
  }

  #readCell({ bytes }: Scan, span: Span): Fault | undefined {
    const isAbsent = span[0] === span[1]
    const cell = isAbsent ? 0 : cellOf(bytes, ...span)
    if (cell === 0 && !isAbsent) {
      const message = `the cell is no number from 1 to ${limits.cellsMax}`
      return fault('sequence-cell', () => ({ message, measured: excerpt(bytes.toString('utf8', ...span)) }))
    }
    const message = isAbsent ? this.#whyNotWithoutCell() : this.#whyNotCell(cell)
    if (message !== undefined) {
      const limit = this.#known ? { limit: [...this.#known].join(', ') } : {}
      return fault('sequence-cell', () => ({ message, measured: isAbsent ? 'no cell' : cell, ...limit }))
    }
    this.#row.cell = cell
    this.#row.ordinal = this.#withoutCell
    this.#namedAt[cell] = this.#positions
    if (isAbsent) this.#withoutCell++
    else this.#withCell++
    return undefined
  }

  #whyNotWithoutCell(): string | undefined {
    if (this.#withCell > 0) return 'some rows of this position name a cell and this one does not'
    const max = this.#withoutCellMax
    if (this.#withoutCell < max) return undefined
    if (max === 0) return 'the codes of this job stand for one cell each; name it'
    return max === 1
      ? 'the code of this position stands there twice'
      : 'this position has more codes than the roll has lanes'
  }

  #whyNotCell(cell: number): string | undefined {
    if (this.#known && !this.#known.has(cell)) return 'the roll has no such cell'
    if (this.#namedAt[cell] === this.#positions) return 'the cell stands twice at this position'
    return this.#withoutCell > 0 ? 'some rows of this position name no cell and this one does' : undefined
  }

  #readCode({ bytes }: Scan, span: Span): Fault | undefined {
    const size = span[1] - span[0]
    if (size === 0) return fault('sequence-code', () => ({ message: 'the code is empty', measured: '' }))
    if (size > limits.codeBytesMax) {
      const message = 'the code is too long, bytes'
      return fault('sequence-code', () => ({ message, measured: size, limit: limits.codeBytesMax }))
    }
    const code = bytes.toString('utf8', ...span)
    // A make-good list guards codes that a spreadsheet would run or alter.
    this.#row.code = bytes[span[0]] === apostrophe ? unguardCell(code) : code
    return undefined
  }
}

function spanOf({ bounds }: Scan, field: number): Span {
  return [bounds[2 * field] as number, bounds[2 * field + 1] as number]
}
