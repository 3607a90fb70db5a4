// What stands where on a label, as SVG in mm from the cell's upper left: the printed picture, the raised varnish, the foil.
import { lettering } from './lettering.ts'
import type { DemoDesign } from './orders.ts'
import { pictures } from './pictures.ts'
import { bleedMm, cellSizeMm, codeAt } from './web.ts'

export interface RegionMm {
  readonly leftMm: number
  readonly topMm: number
  readonly widthMm: number
  readonly heightMm: number
}

export const wholeCell: RegionMm = {
  leftMm: -bleedMm,
  topMm: -bleedMm,
  widthMm: cellSizeMm.width + 2 * bleedMm,
  heightMm: cellSizeMm.height + 2 * bleedMm,
}

const pictureBox: RegionMm = { leftMm: 12, topMm: 4.6, widthMm: 24, heightMm: 24 }
const upperPart: RegionMm = { leftMm: 3, topMm: 3.5, widthMm: 42, heightMm: 33 }
const framedPart: RegionMm = { leftMm: 2, topMm: 2, widthMm: 44, heightMm: 50 }

/** A frame line that steps round the corner where the code stands. */
const framePath = (insetMm: number): string => {
  const [near, right, bottom] = [3 + insetMm, 45 - insetMm, 51 - insetMm]
  return `M${near} ${near} H${right} V${36.6 - insetMm} H${30.8 - insetMm} V${bottom} H${near} Z`
}

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

const titleOf = (design: DemoDesign, colour: string, strokeMm: number): string =>
  lettering({ text: design.title, xMm: 24, yMm: 30.3, capMm: 4, strokeMm, widthMmMax: 36 }, colour)
const brandOf = (brand: string, colour: string, strokeMm: number): string =>
  lettering({ text: brand, xMm: 17, yMm: 42.6, capMm: 2.4, strokeMm, widthMmMax: 24 }, colour)

const inPicture = (content: string): string =>
  `<g transform="translate(${pictureBox.leftMm} ${pictureBox.topMm}) scale(${pictureBox.widthMm / 100})">${content}</g>`
const filled = (paths: readonly string[], fill: string): string =>
  paths.map((path) => `<path d="${path}" fill="${fill}"/>`).join('')
const drawn = (paths: readonly string[], stroke: string, widthUnits: number): string =>
  `<g fill="none" stroke="${stroke}" stroke-width="${widthUnits}" stroke-linecap="round">${filled(paths, 'none')}</g>`

const domes =
  '<defs><radialGradient id="dome" cx="0.38" cy="0.34" r="0.78"><stop offset="0" stop-color="#fff"/><stop offset="0.55" stop-color="#cfcfcf"/><stop offset="1" stop-color="#6e6e6e"/></radialGradient>' +
  '<linearGradient id="leaf" x1="0" y1="0" x2="1" y2="1"><stop offset="0" stop-color="#c0c0c0"/><stop offset="1" stop-color="#606060"/></linearGradient></defs>'

/** Dots of the raised ground, off the picture, the lettering and the code. */
function groundDots(): string {
  const dots: string[] = []
  for (let row = 0; row < 46; row++) {
    for (let column = 0; column < 42; column++) {
      const x = -0.4 + column * 1.2 + (row % 2) * 0.6
      const y = -0.4 + row * 1.2
      const inMargin = x < 2.2 || x > 45.8 || y < 2.2 || y > 51.8
      const aroundPicture = y > 3.8 && y < 29 && x > 3.8 && x < 44.2 && Math.hypot(x - 24, y - 16.6) > 14.2
      const nearCode = x > codeAt.leftMm - 3.4 && y > codeAt.topMm - 3.4
      if ((inMargin || aroundPicture) && !nearCode)
        dots.push(`<circle cx="${x.toFixed(2)}" cy="${y.toFixed(2)}" r="0.3"/>`)
    }
  }
  return dots.join('')
}

const dewDrops = [
  [12.6, 12.8, 0.9],
  [36.2, 12.2, 1.1],
  [11.4, 19.4, 0.7],
  [36.6, 21.6, 0.8],
  [37.2, 17.1, 0.6],
  [11.6, 24.9, 1],
] as const

export interface VarnishArt {
  readonly region: RegionMm
  /** White where varnish is laid. */
  readonly cover: string
  /** Height within the cover: black is none, white is the full height. */
  readonly shade: string
}

/** Raised varnish: picture and title; version 2 adds drops of dew, and sets quince on a dotted ground. */
export function varnishArt(design: DemoDesign, version: number): VarnishArt {
  const picture = pictures[design.flavour]
  const redrawn = version > 1
  const dotted = redrawn && design.flavour === 'quince'
  const drops = (fill: string) =>
    dewDrops.map(([x, y, r]) => `<circle cx="${x}" cy="${y}" r="${r}" fill="${fill}"/>`).join('')
  const layerOf = (body: string, leaf: string, flat: string, dot: string): string =>
    (dotted ? `<g fill="${dot}">${groundDots()}</g>` : '') +
    inPicture(filled(picture.leaves, leaf) + filled(picture.bodies, body) + drawn(picture.lines, '#000', 3.2)) +
    titleOf(design, flat, 0.75) +
    (redrawn ? drops(body) : '')
  return {
    region: dotted ? wholeCell : upperPart,
    cover: layerOf('#fff', '#fff', '#fff', '#fff'),
    shade: domes + layerOf('url(#dome)', 'url(#leaf)', '#e6e6e6', '#5a5a5a'),
  }
}

/** The foil's adhesive image: white where foil is wanted. Version 2 has a second, finer frame. */
export function foilArt(design: DemoDesign, brand: string, version: number): { region: RegionMm; mask: string } {
  const frame = (insetMm: number, strokeMm: number) =>
    `<path d="${framePath(insetMm)}" fill="none" stroke="#fff" stroke-width="${strokeMm}" stroke-linejoin="round"/>`
  const star =
    '<path d="M17 46.6 L17.35 47.45 L18.2 47.8 L17.35 48.15 L17 49 L16.65 48.15 L15.8 47.8 L16.65 47.45 Z" fill="#fff"/>'
  const mask =
    frame(0, 0.5) +
    (version > 1 ? frame(0.85, 0.25) : '') +
    inPicture(drawn(pictures[design.flavour].lines, '#fff', 1.7)) +
    brandOf(brand, '#fff', 0.42) +
    star
  return { region: framedPart, mask }
}

const groundPatterns: Readonly<Record<string, string>> = {
  quince: '<path d="M0 0 L4 4 M-1 3 L1 5 M3 -1 L5 1" stroke-width="0.5"/>',
  plum: '<circle cx="1" cy="1" r="0.5"/><circle cx="3" cy="3" r="0.5"/>',
  cherry: '<path d="M2 0 V4" stroke-width="0.6"/>',
  elder: '<path d="M0 2 Q1 0.8 2 2 T4 2" stroke-width="0.35" fill="none"/>',
  mint: '<path d="M0 1 H4 M0 3 H4" stroke-width="0.3"/>',
  fennel: '<path d="M1 1 L2 0.2 L3 1 L2 1.8 Z"/>',
}

function printBand(print: string, ink: string): string {
  if (print === '00') return ''
  const line = (y: number) => `<path d="M7 ${y} H41" stroke="${ink}" stroke-width="0.22" fill="none"/>`
  if (print === '01') return line(35.3)
  const scallops = 'a1 0.7 0 0 0 2 0 '.repeat(17)
  return `${line(29.4)}<path d="M7 35 ${scallops}" stroke="${ink}" stroke-width="0.25" fill="none"/>`
}

/** The printed label, bleed included, without its code and serial number; later print versions have another band round the title. */
export function printArt(design: DemoDesign, brand: string, print: string): string {
  const picture = pictures[design.flavour]
  const darker = gray(design.groundGray - 14)
  const ink = gray(52)
  const pattern = groundPatterns[design.flavour] ?? ''
  const title = titleOf(design, ink, 0.62)
  const small = (text: string, yMm: number, capMm: number) =>
    lettering({ text, xMm: 17, yMm, capMm, strokeMm: 0.22, widthMmMax: 24 }, ink)
  return (
    `<defs><pattern id="ground" width="4" height="4" patternUnits="userSpaceOnUse"><g fill="${darker}" stroke="${darker}">${pattern}</g></pattern></defs>` +
    rect(wholeCell, gray(design.groundGray)) +
    rect(wholeCell, 'url(#ground)') +
    `<path d="${framePath(-0.6)}" fill="${gray(Math.min(246, design.groundGray + 14))}"/>` +
    inPicture(
      filled(picture.leaves, gray(128)) +
        filled(picture.bodies, gray(156)) +
        drawn(picture.bodies, gray(104), 1.4) +
        drawn(picture.lines, gray(84), 2),
    ) +
    title +
    printBand(print, ink) +
    small(design.subtitle, 39.2, 1.6) +
    brandOf(brand, gray(74), 0.36) +
    small(design.net, 46.9, 1.7) +
    rect({ leftMm: 31.6, topMm: 37.6, widthMm: 14.8, heightMm: 16.1 }, gray(247)) +
    lettering({ text: print, xMm: 5, yMm: 52.2, capMm: 1.2, strokeMm: 0.18, widthMmMax: 3 }, ink)
  )
}
