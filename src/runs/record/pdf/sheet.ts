// A4 pages with a foot, a cursor that runs down them, and text whose width is known before it is drawn. Pages leave as soon as they are
// full: memory does not grow with their number.
import { createRequire } from 'node:module'
import PdfDocument from 'pdfkit'
import { plainText, wrapText } from './text.ts'
import { TotalPages } from './total-pages.ts'

const files = createRequire(import.meta.url)

/** DejaVu: Latin, Greek, Cyrillic and more; free to embed. */
const faces = {
  plain: 'DejaVuSans.ttf',
  bold: 'DejaVuSans-Bold.ttf',
  narrow: 'DejaVuSansCondensed.ttf',
  narrowBold: 'DejaVuSansCondensed-Bold.ttf',
  mono: 'DejaVuSansMono.ttf',
} as const
export type Face = keyof typeof faces

export interface Style {
  readonly face: Face
  readonly sizePt: number
  readonly colour?: string
}

export const page = { widthPt: 595.28, heightPt: 841.89, leftPt: 48, rightPt: 48, topPt: 46, bottomPt: 58 } as const
export const contentPt = page.widthPt - page.leftPt - page.rightPt
const lowestPt = page.heightPt - page.bottomPt

export const colours = { ink: '#1b1f22', soft: '#565d63', rule: '#b9bec2', shade: '#eef0f1' } as const

/** Lines are this much higher than their letters. */
export const leading = 1.3

export interface Foot {
  /** Run and state of the seal. */
  readonly run: string
  /** Size of the ledger and its root. */
  readonly proof: string
}

export interface SheetInfo {
  readonly title: string
  readonly madeAtMs: number
  readonly foot: Foot
}

export class Sheet {
  readonly doc: PDFKit.PDFDocument
  /** From the top of the page to the cursor. */
  yPt: number = page.topPt
  pages = 0
  private readonly foot: Foot
  private readonly total: TotalPages
  private readonly signs = new Map<string, boolean>()
  private readonly widths = new Map<string, number>()

  constructor({ title, madeAtMs, foot }: SheetInfo) {
    this.foot = foot
    this.doc = new PdfDocument({
      size: 'A4',
      autoFirstPage: false,
      margin: 0,
      fontLayoutCache: false,
      lang: 'en',
      displayTitle: true,
      info: { Title: title, Producer: 'Rollcall', Creator: 'Rollcall', CreationDate: new Date(madeAtMs) },
    })
    for (const [face, file] of Object.entries(faces)) {
      this.doc.registerFont(face, files.resolve(`dejavu-fonts-ttf/ttf/${file}`))
    }
    this.total = new TotalPages(this.doc, 'narrow')
    this.turn()
  }

  /** Begins a new page. */
  turn(): void {
    this.doc.addPage()
    this.pages++
    this.yPt = page.topPt
    this.drawFoot()
  }

  get roomPt(): number {
    return lowestPt - this.yPt
  }

  get isAtTop(): boolean {
    return this.yPt <= page.topPt
  }

  /** Turns the page where less than so much room is left. */
  need(heightPt: number): void {
    if (this.roomPt < heightPt && !this.isAtTop) this.turn()
  }

  private drawFoot(): void {
    const small: Style = { face: 'narrow', sizePt: 6.5, colour: colours.soft }
    const yPt = page.heightPt - 40
    this.rule(yPt - 5)
    const pageText = `page ${this.pages} of `
    const textPt = this.measure(pageText, small)
    // The number stands at the left, where its width moves nothing else.
    this.line(pageText, { style: small, xPt: page.leftPt, yPt })
    this.total.place({ xPt: page.leftPt + textPt, yPt: yPt + small.sizePt * 0.93, sizePt: small.sizePt })
    const widthPt = contentPt - textPt - this.total.widthPt(small.sizePt) - 12
    const [run = ''] = this.wrap(this.foot.run, { style: small, widthPt, linesMax: 1 })
    this.line(run, { style: small, xPt: page.widthPt - page.rightPt - this.measure(run, small), yPt })
    const [proof = ''] = this.wrap(this.foot.proof, {
      style: { ...small, face: 'mono', sizePt: 6 },
      widthPt: contentPt,
      linesMax: 1,
    })
    this.line(proof, { style: { ...small, face: 'mono', sizePt: 6 }, xPt: page.leftPt, yPt: yPt + 10 })
  }

  rule(yPt: number, colour: string = colours.rule): void {
    this.doc
      .moveTo(page.leftPt, yPt)
      .lineTo(page.widthPt - page.rightPt, yPt)
      .lineWidth(0.5)
      .stroke(colour)
  }

  private hasSign(face: Face, codePoint: number): boolean {
    const key = `${face}${codePoint}`
    let known = this.signs.get(key)
    if (known === undefined) {
      this.doc.font(face)
      known = (
        this.doc as unknown as { _font: { font: { hasGlyphForCodePoint(c: number): boolean } } }
      )._font.font.hasGlyphForCodePoint(codePoint)
      this.signs.set(key, known)
    }
    return known
  }

  /** Sum of the signs' own widths: never less than what is drawn, since pairs are only drawn closer. */
  measure(text: string, { face, sizePt }: Style): number {
    let width = 0
    for (const char of text) {
      const key = `${face}${char}`
      let known = this.widths.get(key)
      if (known === undefined) {
        known = this.doc.font(face).fontSize(1_000).widthOfString(char) / 1_000
        this.widths.set(key, known)
      }
      width += known
    }
    return width * sizePt
  }

  /** Text from outside as lines of a width, made harmless. */
  wrap(
    text: string,
    { style, widthPt, linesMax = 40 }: { style: Style; widthPt: number; linesMax?: number },
  ): string[] {
    const plain = plainText(text, (codePoint) => this.hasSign(style.face, codePoint))
    return wrapText(plain, { widthPt, linesMax, measure: (piece) => this.measure(piece, style) })
  }

  /** Draws one line that was wrapped; the cursor stays. */
  line(text: string, { style, xPt, yPt }: { style: Style; xPt: number; yPt: number }): void {
    if (text === '') return
    this.doc
      .font(style.face)
      .fontSize(style.sizePt)
      .fillColor(style.colour ?? colours.ink)
      .text(text, xPt, yPt, { lineBreak: false, features: [] })
  }

  /** A paragraph over the width of the page, or from `indentPt` on; breaks over pages line by line. */
  paragraph(
    text: string,
    { style, indentPt = 0, afterPt = 4 }: { style?: Style; indentPt?: number; afterPt?: number } = {},
  ): void {
    const used = style ?? { face: 'plain', sizePt: 8.5 }
    for (const line of this.wrap(text, { style: used, widthPt: contentPt - indentPt, linesMax: 200 })) {
      this.need(used.sizePt * leading)
      this.line(line, { style: used, xPt: page.leftPt + indentPt, yPt: this.yPt })
      this.yPt += used.sizePt * leading
    }
    this.yPt += afterPt
  }

  /** A heading that stays with what follows it, which needs at least `withPt`. */
  heading(text: string, withPt = 60): void {
    this.need(30 + withPt)
    if (!this.isAtTop) this.yPt += 12
    this.line(text, { style: { face: 'bold', sizePt: 11 }, xPt: page.leftPt, yPt: this.yPt })
    this.rule(this.yPt + 15, colours.ink)
    this.yPt += 21
  }

  subheading(text: string, withPt = 50): void {
    this.need(16 + withPt)
    const style: Style = { face: 'bold', sizePt: 8.5 }
    const [line = ''] = this.wrap(text, { style, widthPt: contentPt, linesMax: 1 })
    this.line(line, { style, xPt: page.leftPt, yPt: this.yPt + 2 })
    this.yPt += 15
  }

  /** What was drawn since it was last taken. */
  taken(): Uint8Array | undefined {
    return (this.doc.read() as Buffer | null) ?? undefined
  }

  /** Ends the document; what is left to take follows. */
  end(): void {
    this.total.fill(this.pages)
    this.doc.end()
  }
}
