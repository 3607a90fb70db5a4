// The command around a day's order: the tickets as given and as proposed, with what each change takes.
import { Problem } from '../kernel/problem.ts'
import type { AddCommand } from './command.ts'
import { numberOf } from './command.ts'
import { table } from './output.ts'

interface Reel {
  readonly station: string
  readonly shaft: string
  readonly foil: string
  readonly leftMm: number
  readonly widthMm?: number
  readonly wholeWeb: boolean
}

interface FromTo<T> {
  readonly from: T
  readonly to: T
}

interface Minutes {
  readonly minutes: number
  readonly setUpMinutes: number
  readonly foilMinutes: number
  readonly pitchMinutes: number
  readonly rollMinutes: number
}

interface Step extends Minutes {
  readonly ticket: string
  readonly putUp: readonly Reel[]
  readonly takenOff: readonly Reel[]
  readonly pitchMm?: FromTo<number>
  readonly roll?: FromTo<string>
  readonly webWidthMm?: FromTo<number>
  readonly substrate?: FromTo<string>
}

interface Plan extends Minutes {
  readonly steps: readonly Step[]
}

interface Ordered {
  readonly line: string
  readonly given: Plan
  readonly givenOutOfPass: readonly string[]
  readonly proposed: Plan
  readonly method: 'exact' | 'search'
  readonly arrangements: number
  readonly costMinutes: number
  readonly lowerBoundMinutes: number
  readonly gapMinutes: number
  readonly exact: boolean
}

/** `station[/shaft]=foil[@left+width]`, widths in mm. Problem `usage`. */
function threadedOf(text: string): object {
  const found = /^([^/=@]+)(?:\/([^=@]+))?=([^@]+)(?:@([^+]+)\+(.+))?$/.exec(text)
  if (!found) throw new Problem('usage', `--threaded takes station[/shaft]=foil[@left+width], not "${text}"`)
  const [, station, shaft, foil, left, width] = found
  const place =
    left === undefined || width === undefined
      ? {}
      : { leftMm: numberOf(left, '--threaded left'), widthMm: numberOf(width, '--threaded width') }
  return { station, foil, ...(shaft === undefined ? {} : { shaft }), ...place }
}

const shown = (minutes: number): string => String(Number(minutes.toFixed(2)))

// A reel across the whole web by its width alone, where that is known.
function placeOf({ leftMm, widthMm, wholeWeb }: Reel): string {
  if (widthMm === undefined) return ''
  return wholeWeb ? ` ${widthMm} mm` : ` at ${leftMm}+${widthMm} mm`
}

const reelText = (reel: Reel): string => `${reel.foil}${placeOf(reel)}`

// What hangs where, station by station and shaft by shaft: what is put up, and for what.
function reelChanges({ putUp, takenOff }: Step): string[] {
  const whereOf = ({ station, shaft }: Reel): string => (shaft ? `${station}/${shaft}` : station)
  const places = [...new Set([...putUp, ...takenOff].map(whereOf))]
  return places.map((place) => {
    const up = putUp.filter((reel) => whereOf(reel) === place).map(reelText)
    const off = takenOff.filter((reel) => whereOf(reel) === place).map(reelText)
    if (up.length === 0) return `${place}: ${off.join(', ')} off`
    return `${place}: ${up.join(', ')}${off.length > 0 ? ` for ${off.join(', ')}` : ''}`
  })
}

const rollText = ({ from, to }: FromTo<string>): string =>
  from === to ? `roll ${to} put on again` : `roll ${from} → ${to}`

function changesOf(step: Step): string {
  const { pitchMm, roll, webWidthMm, substrate } = step
  const parts = [
    ...reelChanges(step),
    ...(pitchMm ? [`pitch ${pitchMm.from} → ${pitchMm.to} mm`] : []),
    ...(roll ? [rollText(roll)] : []),
    ...(webWidthMm ? [`web ${webWidthMm.from} → ${webWidthMm.to} mm`] : []),
    ...(substrate ? [`${substrate.from} → ${substrate.to}`] : []),
  ]
  return parts.join('; ')
}

const headings = ['', 'ticket', 'min', 'set-up', 'foil', 'pitch', 'roll', 'what changes']
const minutesOf = (row: Minutes): string[] =>
  [row.minutes, row.setUpMinutes, row.foilMinutes, row.pitchMinutes, row.rollMinutes].map(shown)

function planText(plan: Plan): string {
  const rows = plan.steps.map((step, i) => [i + 1, step.ticket, ...minutesOf(step), changesOf(step)])
  return table(headings, [...rows, ['', 'all', ...minutesOf(plan), '']])
}

function verdictOf({ given, proposed, givenOutOfPass }: Ordered): string {
  if (given.steps.every(({ ticket }, i) => ticket === proposed.steps[i]?.ticket)) return 'The order as given stays.'
  const early =
    givenOutOfPass.length > 0 ? `${givenOutOfPass.join(', ')} stood before an earlier pass of the roll. ` : ''
  const saved = Number((given.minutes - proposed.minutes).toFixed(2))
  const by = saved >= 0 ? `${saved} min less` : `${-saved} min more`
  return `${early}${shown(proposed.minutes)} min instead of ${shown(given.minutes)} min${saved === 0 ? '' : `: ${by}`}.`
}

function methodOf({ method, arrangements, exact, gapMinutes, lowerBoundMinutes }: Ordered): string {
  const what = arrangements === 1 ? '1 arrangement of the line' : `${arrangements} arrangements of the line`
  if (method === 'exact') return `Method: dynamic programming over ${what}; no order takes less.`
  const how = `Method: insertion and exchanges over ${what}`
  if (exact) return `${how}; a lower bound shows that no order takes less.`
  const share = ((100 * gapMinutes) / lowerBoundMinutes).toFixed(1)
  return `${how}; no order takes less than ${shown(lowerBoundMinutes)} min, so this one is at most ${shown(gapMinutes)} min (${share} %) above the best.`
}

function textOf(ordered: Ordered): string {
  const { given, proposed, line } = ordered
  const isFree = given.minutes === 0 && proposed.minutes === 0
  return [
    'As given:',
    planText(given),
    '',
    'Proposed:',
    planText(proposed),
    '',
    isFree
      ? `The profile of ${line} states no minutes for changes, so every order takes the same.`
      : verdictOf(ordered),
    methodOf(ordered),
  ].join('\n')
}

interface Options {
  readonly line: string
  readonly threaded?: readonly string[]
  readonly pitch?: string
  readonly fixedFirst?: boolean
}

/** Adds `order`. */
export function orderCommand(add: AddCommand): void {
  add<Options>(
    'order',
    'Order the tickets of a day so that foil, pitch and roll changes take least; stores nothing',
    (command) =>
      command
        .argument('<ticket...>', 'names of stored tickets, in the order as planned')
        .requiredOption('--line <line>', 'name of a stored line; its profile says what each change takes')
        .option(
          '--threaded <reel>',
          'what hangs on the line now: station[/shaft]=foil[@left+width], mm; again for each reel',
          (text: string, before: readonly string[] = []) => [...before, text],
        )
        .option('--pitch <mm>', 'pitch that the line is set to')
        .option('--fixed-first', 'the first ticket stays the first'),
    ({ withServer, output }, { line, threaded, pitch, fixedFirst }, tickets) => {
      const body = {
        tickets,
        ...(threaded ? { threaded: threaded.map(threadedOf) } : {}),
        ...(pitch === undefined ? {} : { pitchMm: numberOf(pitch, '--pitch') }),
        ...(fixedFirst ? { fixedFirst } : {}),
      }
      return withServer(async (server) => {
        const ordered = await server.send<Ordered>('POST', `/lines/${encodeURIComponent(line)}/order`, body)
        output.result(ordered, textOf(ordered))
        return 0
      })
    },
  )
}
