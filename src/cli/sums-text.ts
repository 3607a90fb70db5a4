// The sums of a ticket for a person: one table of figures, with those of what-if and the difference beside them.
import type { TicketSums } from '../lines/index.ts'
import { table } from './output.ts'

interface SumsRow {
  readonly code: string
  readonly message: string
  readonly mend: string
  readonly measured?: string | number
  readonly limit?: string | number
}

export interface WeighedSums {
  readonly sums: TicketSums
  readonly blockers: readonly SumsRow[]
  readonly warnings: readonly SumsRow[]
}

/** One figure; the same name in both columns is the same thing. */
interface Figure {
  readonly what: string
  readonly value: number
  readonly digits: number
  /** Such as `of 600`. */
  readonly note?: string
}

const designsMax = 20
const plural = (count: number, word: string): string => `${count} ${word}${count === 1 ? '' : 's'}`

const sources = {
  'what-if': 'what if',
  sequence: 'its sequence',
  ticket: 'the ticket',
  material: 'the length of the roll',
  diameter: 'the diameters of the roll',
} as const

function headOf({ ticket, line, extent, assumed }: TicketSums): string {
  const length = extent
    ? `${plural(extent.frames, 'frame')} of ${extent.pitchMm} mm by ${sources[extent.from]}, ${plural(extent.labels, 'label')}, ${extent.setUpM} m of set-up`
    : 'how long the roll is is not known'
  const spread = assumed ? '\nNo sequence: each cell is taken to be shared evenly by the versions that fit it.' : ''
  return `Sums of ticket ${ticket} on ${line}: ${length}.${spread}`
}

function stockText({
  reelM,
  reels,
  suffices,
}: Pick<TicketSums['reels'][number], 'reelM' | 'reels' | 'suffices'>): string {
  if (reelM === undefined) return 'reel length not stated'
  if (reels === undefined) return `a reel of ${reelM} m is used up by threading alone`
  return `${reels} of ${reelM} m${suffices === false ? ': one is too short' : ''}`
}

function consumption({ stations, reels, extent }: TicketSums): Figure[] {
  const figures: Figure[] = extent ? [{ what: 'web, m', value: extent.webM, digits: 1 }] : []
  for (const { station, fluid, ml, setUpMl, purgeMl } of stations) {
    const note = `set-up ${setUpMl.toFixed(2)}, purge ${purgeMl.toFixed(2)}`
    figures.push({ what: `${fluid} of ${station}, mL`, value: ml, digits: 2, note })
  }
  for (const [i, reel] of reels.entries()) {
    const { station, foil, leftMm, widthMm, usedM, usedM2 } = reel
    const stock = stockText(reel)
    const place = `${foil} ${i + 1} on ${station}`
    figures.push({
      what: `${place}, m`,
      value: usedM,
      digits: 1,
      note: `at ${leftMm} to ${leftMm + widthMm} mm; ${stock}`,
    })
    figures.push({ what: `${place}, m²`, value: usedM2, digits: 2 })
  }
  return figures
}

function speeds({ speed, wishMPerMin }: TicketSums): Figure[] {
  const { mPerMin, binds, next } = speed
  if (mPerMin === undefined) return []
  const margin = next
    ? `; next ${next.limit} at ${next.mPerMin.toFixed(1)}${next.times ? `, ${next.times.toFixed(2)} times as fast` : ''}`
    : ''
  return [
    { what: 'speed ceiling, m/min', value: mPerMin, digits: 1, note: `bound by ${binds}${margin}` },
    ...(wishMPerMin === undefined ? [] : [{ what: 'speed asked for, m/min', value: wishMPerMin, digits: 1 }]),
  ]
}

const limited = (limit: number | undefined): { note: string } | object =>
  limit === undefined ? {} : { note: `limit ${limit}` }

function winding({ peak, ridge, roll }: TicketSums): Figure[] {
  const figures: Figure[] = [
    {
      what: 'peak height, µm',
      value: peak.um,
      digits: 1,
      ...(peak.design === undefined ? {} : { note: `${peak.job} ${peak.design} v${peak.version}` }),
    },
    {
      what: 'ridge, mean µm',
      value: ridge.meanUmMax,
      digits: 2,
      note: `at ${ridge.atMm} mm across${ridge.differenceUmMax === undefined ? '' : `, limit ${ridge.differenceUmMax}`}`,
    },
  ]
  if (roll?.unwindMm !== undefined)
    figures.push({ what: 'roll before, mm', value: roll.unwindMm, digits: 1, ...limited(roll.unwindMmMax) })
  if (roll?.rewoundMm !== undefined)
    figures.push({ what: 'roll rewound, mm', value: roll.rewoundMm, digits: 1, ...limited(roll.rewoundMmMax) })
  return figures
}

function times({ minutes }: TicketSums): Figure[] {
  if (!minutes) return []
  const { setUp, travel, reelChanges, rollChange, total, mPerMin } = minutes
  return [
    {
      what: 'minutes',
      value: total,
      digits: 1,
      note: `at ${mPerMin.toFixed(1)} m/min: set-up ${setUp}, travel ${travel.toFixed(1)}, reels ${reelChanges}, roll ${rollChange}`,
    },
  ]
}

const figuresOf = (sums: TicketSums): readonly Figure[] =>
  [consumption, speeds, winding, times].flatMap((part) => part(sums))

const signed = (value: number, digits: number): string => `${value > 0 ? '+' : ''}${value.toFixed(digits)}`

function compared(own: readonly Figure[], other: readonly Figure[]): string {
  const names = [...new Set([...other, ...own].map(({ what }) => what))]
  const rows = names.map((what) => {
    const mine = own.find((figure) => figure.what === what)
    const theirs = other.find((figure) => figure.what === what)
    const both = mine && theirs ? signed(theirs.value - mine.value, theirs.digits) : ''
    const shown = [mine, theirs].map((figure) => figure?.value.toFixed(figure.digits) ?? '–')
    return [what, ...shown, both, theirs?.note ?? mine?.note ?? '']
  })
  return table(['', 'ticket', 'what if', 'difference', 'what if'], rows)
}

function plain(own: readonly Figure[]): string {
  const rows = own.map(({ what, value, digits, note }) => [what, value.toFixed(digits), note ?? ''])
  return table(['', 'ticket', ''], rows)
}

function limitsText({ speed }: TicketSums): string {
  const rows = speed.limits.map(({ limit, mPerMin, counts, from }) => [
    limit,
    mPerMin.toFixed(1),
    speed.binds === limit ? 'binds' : counts ? '' : 'not needed: every station can skip',
    Object.entries(from)
      .map(([name, value]) => `${name} ${Number(value.toFixed(3))}`)
      .join(', '),
  ])
  return table(['speed limit', 'm/min', '', 'from'], rows)
}

function designsText({ designs }: TicketSums): string {
  const rows = designs
    .slice(0, designsMax)
    .map(({ design, version, labels, perLabel, foilMm2, peakUm }) => [
      `${design} v${version}`,
      labels === undefined ? '–' : labels.toFixed(0),
      perLabel.map(({ station, fluid, ml }) => `${ml.toFixed(5)} ${fluid} of ${station}`).join(', '),
      foilMm2.toFixed(0),
      peakUm.toFixed(1),
    ])
  const more = designs.length > designsMax ? `\n… and ${designs.length - designsMax} more; --json lists them all` : ''
  return `${table(['design', 'labels', 'mL a label', 'foil mm²', 'peak µm'], rows)}${more}`
}

function rowsText({ blockers, warnings }: WeighedSums): string[] {
  const line = (word: string) => (row: SumsRow) => {
    const scale = [
      ...(row.measured === undefined ? [] : [`is ${row.measured}`]),
      ...(row.limit === undefined ? [] : [`limit ${row.limit}`]),
    ]
    return `${word} ${row.code}: ${row.message}${scale.length > 0 ? ` (${scale.join(', ')})` : ''}; ${row.mend}`
  }
  return [...blockers.map(line('blocker')), ...warnings.map(line('warning'))]
}

/** The sums as text. What is said of limits and rows is of what-if, where there is one: it is what was asked. */
export function sumsText(own: WeighedSums, whatIf: WeighedSums | undefined): string {
  const asked = whatIf ?? own
  const figures = whatIf ? compared(figuresOf(own.sums), figuresOf(whatIf.sums)) : plain(figuresOf(own.sums))
  const unread = asked.sums.unread.length
  return [
    headOf(asked.sums),
    figures,
    ...(asked.sums.speed.limits.length > 0 ? [limitsText(asked.sums)] : []),
    designsText(asked.sums),
    ...(unread > 0
      ? [`${plural(unread, 'layer')} could not be read and ${unread === 1 ? 'is' : 'are'} missing above.`]
      : []),
    ...(rowsText(asked).length > 0 ? [rowsText(asked).join('\n')] : []),
  ].join('\n\n')
}
