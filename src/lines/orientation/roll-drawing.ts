// The roll on the unwinder, from the side: over or under, which side is printed, which way it turns, and the web as far as the sensor.
import type { Orientation } from './orientation.ts'
import { arrowSvg, px, textSvg } from './svg-parts.ts'

const centreX = 150
const radius = 84
// The sensor needs room above the web.
const centreY = { over: 172, under: 104 } as const
const sensorX = 560
const webEndX = 800
/** Half the distance between the printed side's line and the web's. */
const printOffset = 4

interface Path {
  readonly over: boolean
  readonly y: number
  readonly webY: number
}

function pathOf(over: boolean): Path {
  const y = over ? centreY.over : centreY.under
  return { over, y, webY: over ? y - radius : y + radius }
}

export const rollDrawingHeight = 316

// Over the top the upper side goes with the travel, to the right: clockwise. Underneath the lower side does: the other way round.
function turning({ over, y }: Path): string {
  const r = 56
  const angle = (deg: number) => ({
    x: centreX + r * Math.cos((deg * Math.PI) / 180),
    y: y + r * Math.sin((deg * Math.PI) / 180),
  })
  const [from, to, tip] = over ? [angle(200), angle(318), angle(335)] : [angle(160), angle(42), angle(25)]
  const arc = `M${px(from.x)} ${px(from.y)}A${r} ${r} 0 0 ${over ? 1 : 0} ${px(to.x)} ${px(to.y)}`
  return `<path class="arrow" d="${arc}"/>${arrowSvg(to, tip)}`
}

function rollBody({ y }: Path): string {
  const laps = [72, 66, 44, 38].map((r) => `<circle class="lap" cx="${centreX}" cy="${y}" r="${r}"/>`)
  return (
    `<circle class="roll" cx="${centreX}" cy="${y}" r="${radius}"/>${laps.join('')}` +
    `<circle class="core" cx="${centreX}" cy="${y}" r="26"/>`
  )
}

// The printed side: the outer side of the roll's skin where it is wound face out, the inner one where it is wound face in. Either
// way it is the upper side of the web that has left the roll.
function printedSide({ over, y, webY }: Path): string {
  const r = over ? radius + printOffset : radius - printOffset
  const lineY = webY - printOffset
  return (
    `<circle class="print" cx="${centreX}" cy="${y}" r="${r}"/>` +
    `<line class="print" x1="${centreX}" y1="${px(lineY)}" x2="${webEndX}" y2="${px(lineY)}"/>`
  )
}

function sensor({ webY }: Path): string {
  const top = webY - 62
  return (
    `<rect class="sensor" x="${sensorX - 26}" y="${top}" width="52" height="26" rx="3"/>` +
    `<line class="ray" x1="${sensorX - 14}" y1="${top + 26}" x2="${sensorX - 22}" y2="${webY - 7}"/>` +
    `<line class="ray" x1="${sensorX + 14}" y1="${top + 26}" x2="${sensorX + 22}" y2="${webY - 7}"/>` +
    textSvg('code sensor', { x: sensorX, y: top - 8, class: 'soft', anchor: 'middle', sizePx: 12 })
  )
}

const captions = {
  out: 'wound face out, unwinds over the top',
  in: 'wound face in, unwinds underneath',
  unsaid: 'how it is wound is not said; drawn as wound face out (face in unwinds underneath)',
} as const

/** The panel, `rollDrawingHeight` high, from the origin. */
export function rollDrawing({ face, direction }: Orientation, roll: string): string {
  const path = pathOf(face !== 'in')
  const { webY } = path
  const outside = direction === 'as-printed' ? 'outside: the frame printed first' : 'outside: the frame printed last'
  return [
    rollBody(path),
    turning(path),
    `<line class="base" x1="${centreX}" y1="${webY}" x2="${webEndX}" y2="${webY}"/>`,
    printedSide(path),
    sensor(path),
    arrowSvg({ x: 300, y: webY + 22 }, { x: 400, y: webY + 22 }),
    textSvg('travel', { x: 300, y: webY + 43, class: 'travel strong' }),
    textSvg('to the stations', { x: webEndX, y: webY + 24, class: 'soft', anchor: 'end', sizePx: 12 }),
    textSvg('printed side, up', { x: 300, y: webY - 13, class: 'printed' }),
    textSvg(`Roll ${roll}: ${captions[face ?? 'unsaid']}`, { x: 40, y: 284, class: 'ink strong' }),
    textSvg(outside, { x: 40, y: 302, class: 'soft', sizePx: 12 }),
  ].join('\n')
}
