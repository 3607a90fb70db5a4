// Options of `rollcall material`, and the event that they make.
import { Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { stationKinds } from '../kernel/terms.ts'
import { materialEvents } from '../ledger/index.ts'
import { numberOf, wholeOf } from './command.ts'

/** Keeps each value of an option that may be given again; commander hands options on as texts. */
const gathered = (value: string, before: string | undefined): string =>
  before === undefined ? value : `${before}\n${value}`

/** An option that may be given several times; its values come one a line. */
export const repeated = (usage: string, about: string): Option => new Option(usage, about).argParser(gathered)

export const lanesIn = (text: string, name: string): number[] =>
  text.split(',').map((lane) => wholeOf(lane, name, { min: 1 }))

export const materialOptions: readonly Option[] = [
  new Option('--event <event>', 'what happened').makeOptionMandatory().choices(materialEvents),
  new Option(
    '--position <mm>',
    'where, in encoder mm; default for splice, cut-out, pitch-change: where the last frame was',
  ),
  new Option('--to <mm>', 'with cut-out: the end of what was taken out after laying'),
  new Option('--frames <number>', 'frames that are missing from the web there'),
  new Option('--station <station>', 'with foil: at which station').choices(stationKinds),
  new Option('--foil <foil>', 'with foil: what is threaded now; absent: nothing'),
  new Option(
    '--left <mm>',
    'with foil: left edge of the reel, across the web as it travels, face up; absent: the whole web',
  ),
  new Option('--width <mm>', 'with foil: width of the reel'),
  new Option(
    '--roll <name>',
    'with split: the finished roll that ends here; slit, rewind: which one; partial: what the rest is called',
  ),
  repeated('--lane-roll <name=lanes>', 'with slit, once for each lane roll: such as R1-A=1,2'),
  new Option('--voids <entry>', 'with void: ledger index of the event that was recorded wrongly'),
]

function laneRollOf(text: string): object {
  const at = text.lastIndexOf('=')
  if (at <= 0) throw new Problem('usage', `--lane-roll takes NAME=LANES, such as R1-A=1,2, not "${text}"`)
  return { roll: text.slice(0, at), lanes: lanesIn(text.slice(at + 1), '--lane-roll') }
}

const inMm = (name: string, option: string) => (text: string) => ({ [name]: numberOf(text, option) })
const asIs = (name: string) => (text: string) => ({ [name]: text })

const members: Readonly<Record<string, (text: string) => object>> = {
  event: asIs('event'),
  position: inMm('positionMm', '--position'),
  to: inMm('toPositionMm', '--to'),
  frames: (text) => ({ frames: wholeOf(text, '--frames') }),
  station: asIs('station'),
  foil: asIs('foil'),
  left: inMm('leftMm', '--left'),
  width: inMm('widthMm', '--width'),
  roll: asIs('roll'),
  laneRoll: (text) => ({ laneRolls: text.split('\n').map(laneRollOf) }),
  voids: (text) => ({ voids: wholeOf(text, '--voids') }),
  why: asIs('note'),
}

/** The event that the options describe. Problem `usage`. */
export function materialOf(given: Readonly<Record<string, string>>): object {
  const { event, position } = given
  if ((event === 'split' || event === 'partial') && position === undefined)
    throw new Problem('usage', `a ${event} is at a place: add --position MM`)
  return Object.assign({}, ...Object.entries(given).map(([name, text]) => members[name]?.(text) ?? {}))
}
