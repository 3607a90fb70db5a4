// The number of pages on every page's foot, though it is known only at the end: a form that each page refers to and that is written last
// (ISO 32000-1, 8.10, form XObjects; clause from memory). So no page waits in memory for the others.

interface FontInside {
  readonly id: string
  ref(): unknown
  encode(text: string): readonly [readonly string[], unknown]
}

interface Inside {
  readonly _font: FontInside
  readonly page: { readonly xobjects: Record<string, unknown> }
  ref(data: object): { end(content: string): void }
  addContent(content: string): unknown
}

/** Room for so many digits. */
const digitsMax = 4
/** Width of a digit of the narrow face as a share of its size. */
const digitShare = 0.573

export class TotalPages {
  private readonly inside: Inside
  private readonly doc: PDFKit.PDFDocument
  private readonly font: FontInside
  private readonly form: { end(content: string): void }

  constructor(doc: PDFKit.PDFDocument, face: string) {
    this.doc = doc
    this.inside = doc as unknown as Inside
    doc.font(face)
    this.font = this.inside._font
    // The font's dictionary holds a font only once something was written with it.
    this.font.encode('0123456789')
    this.form = this.inside.ref({
      Type: 'XObject',
      Subtype: 'Form',
      BBox: [0, -1, digitsMax, 1.2],
      Resources: { Font: { [this.font.id]: this.font.ref() } },
    })
  }

  /** Width that is kept for the number. */
  widthPt(sizePt: number): number {
    return digitsMax * digitShare * sizePt
  }

  /** Puts the number on the page in hand; `yPt` is its base line, from the top. */
  place({ xPt, yPt, sizePt }: { xPt: number; yPt: number; sizePt: number }): void {
    this.inside.page.xobjects.Total = this.form
    this.doc.save().transform(sizePt, 0, 0, -sizePt, xPt, yPt)
    this.inside.addContent('/Total Do')
    this.doc.restore()
  }

  fill(pages: number): void {
    const [glyphs] = this.font.encode(String(pages))
    this.form.end(`0.337 0.365 0.388 rg BT /${this.font.id} 1 Tf <${glyphs.join('')}> Tj ET`)
  }
}
