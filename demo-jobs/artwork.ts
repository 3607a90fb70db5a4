// What stands where on a label, as SVG in mm from the label's upper left: the printed picture, the raised varnish, the foil.
import { type LabelLayout, type LetteringPlace, type RegionMm, wholeLabel } from './label-layout.ts'
import { lettering } from './lettering.ts'
import type { DemoDesign } from './orders.ts'
import { pictures } from './pictures.ts'

/** An SVG document whose user unit is one mm and whose pixels cover the region. */
export function svgOf(region: RegionMm, sizePx: { width: number; height: number }, content: string): Buffer {
  const box = `${region.leftMm} ${region.topMm} ${region.widthMm} ${region.heightMm}`
  return Buffer.from(
    `<svg xmlns="http://www.w3.org/2000/svg" width="${sizePx.width}" height="${sizePx.height}" viewBox="${box}" preserveAspectRatio="none">${content}</svg>`,
  )
}

const gray = (level: number): string => `rgb(${level},${level},${level})`
const rect = (region: RegionMm, fill: string): string =>
  `<rect x="${region.leftMm}" y="${region.topMm}" width="${region.widthMm}" height="${region.heightMm}" fill="${fill}"/>`

// Strokes were drawn for capitals of the height given and grow and shrink with them.
const written = (
  text: string,
  place: LetteringPlace,
  pen: { colour: string; strokeMm: number; capMm: number },
): string => lettering({ text, ...place, strokeMm: pen.strokeMm * (place.capMm / pen.capMm) }, pen.colour)

const titleOf = ({ title, layout }: DemoDesign, colour: string, strokeMm: number): string =>
  written(title, layout.title, { colour, strokeMm, capMm: 4 })
const brandOf = (brand: string, { layout }: DemoDesign, colour: string, strokeMm: number): string =>
  written(brand, layout.brand, { colour, strokeMm, capMm: 2.4 })

const inPicture = ({ picture }: LabelLayout, content: string): string =>
  `<g transform="translate(${picture.leftMm} ${picture.topMm}) scale(${picture.widthMm / 100})">${content}</g>`
const filled = (paths: readonly string[], fill: string): string =>
  paths.map((path) => `<path d="${path}" fill="${fill}"/>`).join('')
const drawn = (paths: readonly string[], stroke: string, widthUnits: number): string =>
  `<g fill="none" stroke="${stroke}" stroke-width="${widthUnits}" stroke-linecap="round">${filled(paths, 'none')}</g>`

const domes =
  '<defs><radialGradient id="dome" cx="0.38" cy="0.34" r="0.78"><stop offset="0" stop-color="#fff"/><stop offset="0.55" stop-color="#cfcfcf"/><stop offset="1" stop-color="#6e6e6e"/></radialGradient>' +
  '<linearGradient id="leaf" x1="0" y1="0" x2="1" y2="1"><stop offset="0" stop-color="#c0c0c0"/><stop offset="1" stop-color="#606060"/></linearGradient></defs>'

export interface VarnishArt {
  readonly region: RegionMm
  /** White where varnish is laid. */
  readonly cover: string
  /** Height within the cover: black is none, white is the full height. */
  readonly shade: string
}

/** Raised varnish: picture and title; version 2 adds what the layout has of drops and dots. */
export function varnishArt(design: DemoDesign, version: number): VarnishArt {
  const { layout, flavour } = design
  const picture = pictures[flavour]
  const redrawn = version > 1
  const dots = redrawn && layout.dotted?.flavour === flavour ? layout.dotted.circles() : undefined
  const drops = (fill: string) =>
    (layout.drops ?? []).map(([x, y, r]) => `<circle cx="${x}" cy="${y}" r="${r}" fill="${fill}"/>`).join('')
  const layerOf = (body: string, leaf: string, flat: string, dot: string): string =>
    (dots === undefined ? '' : `<g fill="${dot}">${dots}</g>`) +
    inPicture(layout, filled(picture.leaves, leaf) + filled(picture.bodies, body) + drawn(picture.lines, '#000', 3.2)) +
    titleOf(design, flat, 0.75) +
    (redrawn ? drops(body) : '')
  return {
    region: dots === undefined ? layout.relief : wholeLabel(layout),
    cover: layerOf('#fff', '#fff', '#fff', '#fff'),
    shade: domes + layerOf('url(#dome)', 'url(#leaf)', '#e6e6e6', '#5a5a5a'),
  }
}

/** The foil's adhesive image: white where foil is wanted. Version 2 has a second, finer frame. */
export function foilArt(design: DemoDesign, brand: string, version: number): { region: RegionMm; mask: string } {
  const { layout, flavour } = design
  const frame = (insetMm: number, strokeMm: number) =>
    `<path d="${layout.outline(insetMm)}" fill="none" stroke="#fff" stroke-width="${strokeMm}" stroke-linejoin="round"/>`
  const star = layout.star === undefined ? '' : `<path d="${layout.star}" fill="#fff"/>`
  const mask =
    frame(0, 0.5) +
    (version > 1 ? frame(0.85, 0.25) : '') +
    inPicture(layout, drawn(pictures[flavour].lines, '#fff', 1.7)) +
    brandOf(brand, design, '#fff', 0.42) +
    star
  return { region: layout.foil, mask }
}

const groundPatterns: Readonly<Record<string, string>> = {
  quince: '<path d="M0 0 L4 4 M-1 3 L1 5 M3 -1 L5 1" stroke-width="0.5"/>',
  plum: '<circle cx="1" cy="1" r="0.5"/><circle cx="3" cy="3" r="0.5"/>',
  cherry: '<path d="M2 0 V4" stroke-width="0.6"/>',
  elder: '<path d="M0 2 Q1 0.8 2 2 T4 2" stroke-width="0.35" fill="none"/>',
  mint: '<path d="M0 1 H4 M0 3 H4" stroke-width="0.3"/>',
  fennel: '<path d="M1 1 L2 0.2 L3 1 L2 1.8 Z"/>',
}

function printBand({ band }: LabelLayout, print: string, ink: string): string {
  if (print === '00') return ''
  const line = (y: number) =>
    `<path d="M${band.leftMm} ${y} H${band.rightMm}" stroke="${ink}" stroke-width="0.22" fill="none"/>`
  if (print === '01') return line(band.belowMm)
  const scallops = 'a1 0.7 0 0 0 2 0 '.repeat((band.rightMm - band.leftMm) / 2)
  return `${line(band.aboveMm)}<path d="M${band.leftMm} ${band.scallopsMm} ${scallops}" stroke="${ink}" stroke-width="0.25" fill="none"/>`
}

/** The printed label, bleed included, without its code and serial number; later print versions have another band round the title. */
export function printArt(design: DemoDesign, brand: string, print: string): string {
  const { layout } = design
  const picture = pictures[design.flavour]
  const whole = wholeLabel(layout)
  const darker = gray(design.groundGray - 14)
  const ink = gray(52)
  const pattern = groundPatterns[design.flavour] ?? ''
  const title = titleOf(design, ink, 0.62)
  const small = (text: string, place: LetteringPlace) => lettering({ text, ...place, strokeMm: 0.22 }, ink)
  return (
    `<defs><pattern id="ground" width="4" height="4" patternUnits="userSpaceOnUse"><g fill="${darker}" stroke="${darker}">${pattern}</g></pattern></defs>` +
    rect(whole, gray(design.groundGray)) +
    rect(whole, 'url(#ground)') +
    `<path d="${layout.outline(-0.6)}" fill="${gray(Math.min(246, design.groundGray + 14))}"/>` +
    inPicture(
      layout,
      filled(picture.leaves, gray(128)) +
        filled(picture.bodies, gray(156)) +
        drawn(picture.bodies, gray(104), 1.4) +
        drawn(picture.lines, gray(84), 2),
    ) +
    title +
    printBand(layout, print, ink) +
    small(design.subtitle, layout.subtitle) +
    brandOf(brand, design, gray(74), 0.36) +
    small(design.net, layout.net) +
    (layout.codePanel ? rect(layout.codePanel, gray(247)) : '') +
    lettering({ text: print, ...layout.printMark, strokeMm: 0.18 }, ink)
  )
}
