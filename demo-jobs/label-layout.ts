// How a label is laid out: where its picture, its lettering and its foil line stand, in mm from the label's upper left.

export interface RegionMm {
  readonly leftMm: number
  readonly topMm: number
  readonly widthMm: number
  readonly heightMm: number
}

/** One line of lettering: its middle, its upper edge, the height of its capitals, and the width that it is squeezed to. */
export interface LetteringPlace {
  readonly xMm: number
  readonly yMm: number
  readonly capMm: number
  readonly widthMmMax: number
}

export interface LabelLayout {
  readonly widthMm: number
  readonly heightMm: number
  readonly bleedMm: number
  readonly picture: RegionMm
  readonly title: LetteringPlace
  readonly subtitle: LetteringPlace
  readonly brand: LetteringPlace
  readonly net: LetteringPlace
  /** Where the print version is named. */
  readonly printMark: LetteringPlace
  /** The line round the label that the foil follows, stepped round the code, so far inside its outermost course. */
  readonly outline: (insetMm: number) => string
  /** What the raised varnish may cover. */
  readonly relief: RegionMm
  /** What the foil may cover. */
  readonly foil: RegionMm
  /** Rules round the title; later print versions have them elsewhere. */
  readonly band: { leftMm: number; rightMm: number; aboveMm: number; belowMm: number; scallopsMm: number }
  /** White ground under the code. */
  readonly codePanel?: RegionMm
  /** A foil star, as a path. */
  readonly star?: string
  /** Drops of dew in raised varnish from version 2 on: x, y, radius. */
  readonly drops?: readonly (readonly [number, number, number])[]
  /** A raised ground of dots from version 2 on, as circles, for designs with this picture. */
  readonly dotted?: { readonly flavour: string; readonly circles: () => string }
}

/** The label with its bleed. */
export const wholeLabel = ({ widthMm, heightMm, bleedMm }: LabelLayout): RegionMm => ({
  leftMm: -bleedMm,
  topMm: -bleedMm,
  widthMm: widthMm + 2 * bleedMm,
  heightMm: heightMm + 2 * bleedMm,
})
