// The first frame as the sensor sees it: from above, looking along the travel, the edge that leads uppermost.
import { type ManifestFrame, type RectMm, toFrame } from '../../packages/index.ts'
import { lanesAlong } from './cells.ts'
import type { Orientation, TravellingCell } from './orientation.ts'
import { arrowSvg, px, textSvg } from './svg-parts.ts'

export type FrameToDraw = Pick<ManifestFrame, 'codeAt' | 'eyeMark'>

interface Box {
  readonly x: number
  readonly y: number
  readonly width: number
  readonly height: number
}

interface Scale {
  /** Pixels of the drawing for a rectangle in the frame as it travels. */
  box(rect: RectMm): Box
  readonly roll: RectMm
}

const area = { x: 70, y: 86, width: 420, height: 400 }
const neighbourPx = 26

// What of the frame is on the roll: a slit roll ends a little beside its cells, unless they are the outermost of the web.
function onRoll({ cells, webWidthMm, pitchMm }: Orientation, slit: boolean): RectMm {
  if (!slit) return { leftMm: 0, topMm: 0, widthMm: webWidthMm, heightMm: pitchMm }
  const marginMm = webWidthMm / 50
  const leftMm = Math.max(0, Math.min(...cells.map((cell) => cell.leftMm)) - marginMm)
  const rightMm = Math.min(webWidthMm, Math.max(...cells.map((cell) => cell.leftMm + cell.widthMm)) + marginMm)
  return { leftMm, topMm: 0, widthMm: rightMm - leftMm, heightMm: pitchMm }
}

function scaleOf(roll: RectMm): Scale {
  const pxPerMm = Math.min(area.width / roll.widthMm, area.height / roll.heightMm)
  return {
    roll,
    box: ({ leftMm, topMm, widthMm, heightMm }) => ({
      x: area.x + (leftMm - roll.leftMm) * pxPerMm,
      y: area.y + topMm * pxPerMm,
      width: widthMm * pxPerMm,
      height: heightMm * pxPerMm,
    }),
  }
}

const rectSvg = (name: string, { x, y, width, height }: Box): string =>
  `<rect class="${name}" x="${px(x)}" y="${px(y)}" width="${px(width)}" height="${px(height)}"/>`

// An F, upright, one high: no turn and no mirror brings it back onto itself.
const letter = 'M-.32-.5H.34V-.3H-.1V-.1H.22V.1H-.1V.5H-.32Z'

function codeSvg(rect: RectMm, scale: Scale): string {
  const { x, y, width, height } = scale.box(rect)
  const [right, bottom] = [px(x + width), px(y + height)]
  const cross = `<path class="code" d="M${px(x)} ${px(y)}L${right} ${bottom}M${right} ${px(y)}L${px(x)} ${bottom}"/>`
  return rectSvg('code', { x, y, width, height }) + cross
}

const meet = (a: Box, b: Box): boolean =>
  a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height

const steps = [0.5, 0.3, 0.7, 0.2, 0.8]

// The place in a cell nearest to its middle where a box of this size meets nothing that is there already; else the middle.
function freePlace(size: { width: number; height: number }, cell: Box, taken: readonly Box[]): Box {
  const places = steps.flatMap((across) =>
    steps.map((along) => ({
      ...size,
      x: cell.x + (cell.width - size.width) * across,
      y: cell.y + (cell.height - size.height) * along,
      off: Math.hypot((across - 0.5) * cell.width, (along - 0.5) * cell.height),
    })),
  )
  const free = places.filter((place) => !taken.some((box) => meet(place, box))).toSorted((a, b) => a.off - b.off)[0]
  return free ?? { ...size, x: cell.x + (cell.width - size.width) / 2, y: cell.y + (cell.height - size.height) / 2 }
}

// The upper left corner of a cell for its number, or the next corner that the code leaves free.
function namePlace(size: { width: number; height: number }, cell: Box, taken: readonly Box[]): Box {
  const gap = size.height / 3
  const [left, right] = [cell.x + gap, cell.x + cell.width - size.width - gap]
  const [top, bottom] = [cell.y + gap, cell.y + cell.height - size.height - gap]
  const corners = [
    { ...size, x: left, y: top },
    { ...size, x: right, y: top },
    { ...size, x: left, y: bottom },
    { ...size, x: right, y: bottom },
  ]
  return corners.find((corner) => !taken.some((box) => meet(corner, box))) ?? { ...size, x: left, y: top }
}

function cellSvg(cell: TravellingCell, { codeAt }: FrameToDraw, scale: Scale): string {
  const box = scale.box(cell)
  const least = Math.min(box.width, box.height)
  const sizePx = Math.max(5, Math.min(13, least / 7))
  const name = `cell ${cell.cell}`
  const code = codeAt.from === 'cell' ? toFrame(cell, codeAt) : undefined
  const taken = code ? [scale.box(code)] : []
  const nameBox = namePlace({ width: name.length * sizePx * 0.66, height: sizePx }, box, taken)
  const side = least * 0.46
  const glyph = freePlace({ width: side, height: side }, box, [...taken, nameBox])
  const middle = `${px(glyph.x + side / 2)} ${px(glyph.y + side / 2)}`
  const title = `${name}, lane ${cell.lane}, row ${cell.row}, turned ${cell.rotateDeg}° clockwise`
  return [
    `<g><title>${title}</title>`,
    rectSvg('cell', box),
    `<path class="glyph" transform="translate(${middle}) rotate(${cell.rotateDeg}) scale(${px(side)})" d="${letter}"/>`,
    code ? codeSvg(code, scale) : '',
    textSvg(name, { x: nameBox.x, y: nameBox.y + sizePx * 0.85, class: 'ink strong', sizePx }),
    '</g>',
  ].join('')
}

// What stands in the frame as printed, in the frame as it travels.
function travelling(rect: RectMm, { frameTurnDeg, webWidthMm, pitchMm }: Orientation): RectMm {
  if (frameTurnDeg === 0) return rect
  return {
    ...rect,
    leftMm: webWidthMm - rect.leftMm - rect.widthMm,
    topMm: pitchMm - rect.topMm - rect.heightMm,
  }
}

const isOnRoll = (rect: RectMm, roll: RectMm): boolean =>
  rect.leftMm >= roll.leftMm && rect.leftMm + rect.widthMm <= roll.leftMm + roll.widthMm

function marksSvg(orientation: Orientation, { codeAt, eyeMark }: FrameToDraw, scale: Scale): string {
  const mark = eyeMark && travelling(eyeMark, orientation)
  const code = codeAt.from === 'frame' ? travelling(codeAt, orientation) : undefined
  return [
    mark && isOnRoll(mark, scale.roll) ? `<g><title>eye mark</title>${rectSvg('mark', scale.box(mark))}</g>` : '',
    code && isOnRoll(code, scale.roll) ? `<g><title>code</title>${codeSvg(code, scale)}</g>` : '',
  ].join('')
}

function laneHeads({ cells }: Orientation, scale: Scale): string {
  return lanesAlong(cells)
    .map((lane) => {
      const boxes = cells.filter((cell) => cell.lane === lane).map((cell) => scale.box(cell))
      const left = Math.min(...boxes.map(({ x }) => x))
      const right = Math.max(...boxes.map(({ x, width }) => x + width))
      const wide = right - left > 46
      return textSvg(wide ? `lane ${lane}` : String(lane), {
        x: (left + right) / 2,
        y: area.y - neighbourPx - 8,
        class: 'soft',
        anchor: 'middle',
        sizePx: 12,
      })
    })
    .join('')
}

// The ends of the frames before and after, cut off.
function neighbours(web: Box): string {
  const ahead = { ...web, y: web.y - neighbourPx, height: neighbourPx }
  const behind = { ...web, y: web.y + web.height, height: neighbourPx }
  return rectSvg('cut', ahead) + rectSvg('cut', behind)
}

const legend = 'F: how the print lies · crossed box: the code'

/** The panel from the origin, and how high it is. `slit`: only some cells of the frame are on the roll. */
export function frameDrawing(
  orientation: Orientation,
  { frame, slit }: { frame: FrameToDraw; slit: boolean },
): { readonly svg: string; readonly heightPx: number } {
  const scale = scaleOf(onRoll(orientation, slit))
  const web = scale.box(scale.roll)
  const marks = marksSvg(orientation, frame, scale)
  const arrowPx = Math.max(60, Math.min(110, web.height))
  const legendY = web.y + web.height + neighbourPx + 20
  const [first] = orientation.cells
  const lead = `leads: ${orientation.leadEdge} edge of the label in cell ${first?.cell}`
  const svg = [
    textSvg('First frame under the sensor, along the travel', {
      x: 40,
      y: 22,
      class: 'ink strong',
    }),
    laneHeads(orientation, scale),
    neighbours(web),
    rectSvg('web', web),
    marks,
    ...orientation.cells.map((cell) => cellSvg(cell, frame, scale)),
    `<line class="arrow" x1="${px(web.x)}" y1="${px(web.y)}" x2="${px(web.x + web.width)}" y2="${px(web.y)}"/>`,
    textSvg(lead, { x: web.x + 4, y: web.y - 9, class: 'travel strong', sizePx: 12 }),
    arrowSvg({ x: 36, y: web.y + arrowPx }, { x: 36, y: web.y }),
    textSvg('travel', { x: 36, y: web.y + arrowPx + 16, class: 'travel strong', anchor: 'middle' }),
    textSvg(marks.includes('eye mark') ? `${legend} · solid bar: the eye mark` : legend, {
      x: area.x,
      y: legendY,
      class: 'soft',
      sizePx: 12,
    }),
  ]
  return { svg: svg.join('\n'), heightPx: Math.max(legendY + 16, web.y + arrowPx + 36) }
}
