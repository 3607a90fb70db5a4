// Long numbers that a spreadsheet has rounded: shown with an exponent, or with zeros after the fifteenth digit. Fields in quotes are
// taken at their word, which is the way out for codes that truly look like that.
import type { TableColumn } from './csv-header.ts'
import type { FindingText, TableFindings } from './table-findings.ts'

/** Digits that a double-precision number keeps for certain (IEEE 754 binary64), and that spreadsheets write. */
const keptDigits = 15
const zeroTailsMin = 3
const aboveChance = 10

const digit0 = 0x30
const digit9 = 0x39
const plus = 0x2b

/** `1.23457E+12`, as spreadsheets export numbers that they show so. */
const exponentForm = /^[1-9](?:\.\d+)?E\+\d{2,3}$/i

export interface FieldPlace {
  readonly column: TableColumn
  readonly row: number
  readonly from: number
  readonly to: number
}

export interface MangleWatch {
  /** Looks at a field without quotes; true where it is refused at once. */
  look(bytes: Buffer, place: FieldPlace): boolean
  /** Refuses the zero-tailed numbers if there are more of them than chance gives. */
  conclude(): void
}

interface Tails {
  /** Numbers longer than the kept digits. */
  long: number
  zeroTailed: number
  /** Of them, how many would end in that many zeros if digits were random. */
  expected: number
  readonly shown: { readonly row: number; readonly text: string }[]
}

/** `shownMax` of the zero-tailed are kept to be listed. */
export function openMangleWatch(findings: TableFindings, shownMax: number): MangleWatch {
  const tailsOf = new Map<TableColumn, Tails>()
  const noteTail = (bytes: Buffer, { column, row, from, to }: FieldPlace): void => {
    const tails = tailsOf.get(column) ?? { long: 0, zeroTailed: 0, expected: 0, shown: [] }
    tailsOf.set(column, tails)
    tails.long++
    tails.expected += 10 ** (keptDigits - (to - from))
    if (!isZeros(bytes, from + keptDigits, to)) return
    tails.zeroTailed++
    if (tails.shown.length < shownMax) tails.shown.push({ row, text: bytes.toString('latin1', from, to) })
  }
  return {
    look(bytes, place) {
      const { column, row, from, to } = place
      // The sign of an exponent of two or three digits.
      if (bytes[to - 3] === plus || bytes[to - 4] === plus) {
        const text = bytes.toString('latin1', from, to)
        if (exponentForm.test(text)) {
          findings.add('table-mangled', row, () => exponentFinding(column, text))
          return true
        }
      }
      if (to - from > keptDigits && isLongNumber(bytes, from, to)) noteTail(bytes, place)
      return false
    },
    conclude() {
      for (const [column, tails] of tailsOf) {
        const { zeroTailed, expected, shown } = tails
        if (zeroTailed < zeroTailsMin || zeroTailed <= aboveChance * expected) continue
        for (const { row, text } of shown)
          findings.add('table-mangled', row, () => tailFinding({ column, text, tails }))
        findings.addUnlisted('table-mangled', zeroTailed - shown.length)
      }
    },
  }
}

const advice = 'format the column as text before the numbers are put in, or export the table without a spreadsheet'

const exponentFinding = (column: TableColumn, text: string): FindingText => ({
  message: `a spreadsheet has written the ${column} as a rounded number, whose digits are lost; ${advice}. If it truly reads so, put it in quotes`,
  measured: text,
})

const tailFinding = (of: { column: TableColumn; text: string; tails: Tails }): FindingText => ({
  message:
    `a spreadsheet seems to have rounded the ${of.column} to ${keptDigits} digits: ` +
    `${of.tails.zeroTailed} of ${of.tails.long} longer numbers go on with zeros; ${advice}. If it truly reads so, put it in quotes`,
  measured: of.text,
  limit: keptDigits,
})

function isLongNumber(bytes: Buffer, from: number, to: number): boolean {
  // Spreadsheets drop leading zeros, so what starts with one was not rounded.
  if (bytes[from] === digit0) return false
  for (let at = from; at < to; at++) {
    const c = bytes[at] as number
    if (c < digit0 || c > digit9) return false
  }
  return true
}

function isZeros(bytes: Buffer, from: number, to: number): boolean {
  for (let at = from; at < to; at++) if (bytes[at] !== digit0) return false
  return true
}
