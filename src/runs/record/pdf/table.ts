// Tables over pages: columns that know how their content likes to stand, rows that are never torn, a head on each page.
import { colours, contentPt, type Face, leading, page, type Sheet, type Style } from './sheet.ts'

export interface PdfColumn {
  readonly heading: string
  /** Share of the page's width, of the sum of all shares. */
  readonly share: number
  /** `number` stands to the right. */
  readonly kind?: 'text' | 'number' | 'code'
}

export type PdfCell = string | number | undefined | readonly string[]

const sizePt = 7.5
const gapPt = 9
const padPt = 2.5
/** Lines of a cell; what goes beyond is cut with an ellipsis and stands whole in the record as JSON. */
const linesMax = 14

const faceOf: Readonly<Record<NonNullable<PdfColumn['kind']>, Face>> = {
  text: 'narrow',
  number: 'narrow',
  code: 'mono',
}

const styleOf = ({ kind = 'text' }: PdfColumn): Style => ({ face: faceOf[kind], sizePt: kind === 'code' ? 6 : sizePt })

const headStyle: Style = { face: 'narrowBold', sizePt: 6.8, colour: colours.soft }

interface Laid {
  readonly column: PdfColumn
  readonly xPt: number
  readonly widthPt: number
}

function layOut(columns: readonly PdfColumn[]): readonly Laid[] {
  const shares = columns.reduce((sum, { share }) => sum + share, 0)
  let xPt: number = page.leftPt
  return columns.map((column) => {
    const widthPt = (contentPt * column.share) / shares
    const laid = { column, xPt, widthPt: widthPt - gapPt }
    xPt += widthPt
    return laid
  })
}

export class PdfTable {
  private readonly sheet: Sheet
  private readonly laid: readonly Laid[]
  private rows = 0

  constructor(sheet: Sheet, columns: readonly PdfColumn[]) {
    this.sheet = sheet
    this.laid = layOut(columns)
  }

  private linesOf(values: readonly PdfCell[]): readonly (readonly string[])[] {
    return this.laid.map(({ column, widthPt }, i) => {
      const value = values[i]
      const texts = Array.isArray(value) ? value : value === undefined || value === '' ? [] : [String(value)]
      const lines = texts.flatMap((text) => this.sheet.wrap(text, { style: styleOf(column), widthPt, linesMax }))
      return lines.length > linesMax ? [...lines.slice(0, linesMax - 1), '…'] : lines
    })
  }

  private head(): void {
    const lines = this.laid.map(({ column, widthPt }) =>
      this.sheet.wrap(column.heading, { style: headStyle, widthPt, linesMax: 3 }),
    )
    const heightPt = Math.max(...lines.map(({ length }) => length)) * headStyle.sizePt * leading + 2 * padPt
    const { doc, yPt } = this.sheet
    doc.rect(page.leftPt, yPt, contentPt, heightPt).fill(colours.shade)
    this.cells(lines, { style: () => headStyle, yPt: yPt + padPt })
    this.sheet.yPt += heightPt
  }

  private cells(
    lines: readonly (readonly string[])[],
    { style, yPt }: { style: (column: PdfColumn) => Style; yPt: number },
  ): void {
    this.laid.forEach(({ column, xPt, widthPt }, i) => {
      const used = style(column)
      lines[i]?.forEach((line, row) => {
        const shiftPt = column.kind === 'number' ? widthPt - this.sheet.measure(line, used) : 0
        // Text begins a hair inside the shaded head.
        this.sheet.line(line, { style: used, xPt: xPt + 2 + shiftPt, yPt: yPt + row * used.sizePt * leading })
      })
    })
  }

  row(values: readonly PdfCell[]): void {
    const lines = this.linesOf(values)
    const heights = this.laid.map(({ column }, i) => (lines[i]?.length ?? 0) * styleOf(column).sizePt * leading)
    const heightPt = Math.max(...heights, sizePt * leading) + 2 * padPt
    const headPt = this.rows === 0 ? 20 : 0
    if (this.sheet.roomPt < heightPt + headPt && !this.sheet.isAtTop) {
      this.sheet.turn()
      this.head()
    } else if (this.rows === 0) this.head()
    this.cells(lines, { style: styleOf, yPt: this.sheet.yPt + padPt })
    this.sheet.yPt += heightPt
    this.sheet.rule(this.sheet.yPt)
    this.rows++
  }

  /** Ends the table; a sentence stands in its place where it had no row. */
  end(empty: string): void {
    if (this.rows === 0) this.sheet.paragraph(empty, { afterPt: 0 })
    this.sheet.yPt += 6
  }
}

/** A table whose rows are all there. */
export function drawTable(
  sheet: Sheet,
  { columns, rows, empty }: { columns: readonly PdfColumn[]; rows: readonly (readonly PdfCell[])[]; empty: string },
): void {
  const table = new PdfTable(sheet, columns)
  for (const row of rows) table.row(row)
  table.end(empty)
}
