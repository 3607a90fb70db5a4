// Readiness in words for a person: what stands against a ticket, which labels are concerned, what would mend it.
import { counted } from './counted.ts'

export interface ReadinessRow {
  readonly code: string
  readonly message: string
  readonly mend?: string
  readonly job?: string
  readonly design?: string
  readonly print?: string
  readonly version?: number
  readonly layer?: string
  readonly labels?: number
  readonly examples?: readonly { readonly position: number; readonly cell: number; readonly code: string }[]
  readonly measured?: string | number
  readonly limit?: string | number
}

export interface ReadinessReply {
  readonly ready: boolean
  readonly blockers: readonly ReadinessRow[]
  readonly warnings: readonly ReadinessRow[]
  readonly expected?: { readonly positions: number; readonly labels: number; readonly versions: readonly unknown[] }
  readonly sums?: SumsReply
}

interface SumsReply {
  readonly extent?: { readonly webM: number }
  readonly stations: readonly { readonly station: string; readonly fluid: string; readonly ml: number }[]
  readonly reels: readonly { readonly foil: string; readonly usedM: number }[]
  readonly speed: { readonly mPerMin?: number; readonly binds?: string }
  readonly minutes?: { readonly total: number }
}

const whatOf = (row: ReadinessRow): string => {
  const version = row.version === undefined ? undefined : `v${row.version}`
  const print = row.print === undefined ? undefined : `print ${row.print}`
  return [row.job, row.design, print, version, row.layer].filter((part) => part !== undefined).join(' ')
}

function whyOf({ message, measured, limit }: ReadinessRow): string {
  const scale = [measured === undefined ? '' : `is ${measured}`, limit === undefined ? '' : `limit ${limit}`].filter(
    Boolean,
  )
  return scale.length > 0 ? `${message} (${scale.join(', ')})` : message
}

interface Kind {
  readonly first: ReadinessRow
  count: number
  labels: number | undefined
}

// One for rows that differ only in what they are about; --json has them all.
function kindsOf(rows: readonly ReadinessRow[]): readonly Kind[] {
  const kinds = new Map<string, Kind>()
  for (const row of rows) {
    const key = `${row.code}\n${whyOf(row)}`
    const known = kinds.get(key)
    if (!known) kinds.set(key, { first: row, count: 1, labels: row.labels })
    else {
      known.count++
      if (row.labels !== undefined) known.labels = (known.labels ?? 0) + row.labels
    }
  }
  return [...kinds.values()]
}

function kindText(word: string, { first, count, labels }: Kind): string[] {
  const what = whatOf(first)
  const more = count > 1 ? ` and ${count - 1} more` : ''
  const concerned = labels === undefined ? '' : `, ${counted(labels, 'label')}`
  const examples = (first.examples ?? []).map(({ position, cell, code }) => `position ${position} cell ${cell} ${code}`)
  return [
    `${word} ${first.code}${what ? ` ${what}` : ''}${more}${concerned}: ${whyOf(first)}`,
    ...(examples.length > 0 ? [`  such as: ${examples.join('; ')}`] : []),
    ...(first.mend ? [`  mend: ${first.mend}`] : []),
  ]
}

const shown = (value: number): string => value.toLocaleString('en-GB', { maximumFractionDigits: 1 })

// A few drops are not nothing.
const shownMl = (ml: number): string =>
  ml < 1 ? ml.toLocaleString('en-GB', { maximumSignificantDigits: 2 }) : shown(ml)

function sumsText({ extent, stations, reels, speed, minutes }: SumsReply): string[] {
  if (!extent) return []
  const fluids = stations.map(({ fluid, station, ml }) => `${shownMl(ml)} mL ${fluid} (${station})`)
  const foils = reels.map((reel) => `${shown(reel.usedM)} m ${reel.foil}`)
  const ceiling = speed.mPerMin === undefined ? [] : [`at most ${shown(speed.mPerMin)} m/min (${speed.binds})`]
  const time = minutes ? [`${shown(minutes.total)} minutes`] : []
  return [`  ${[`${shown(extent.webM)} m of web`, ...fluids, ...foils, ...ceiling, ...time].join(', ')}`]
}

/** The whole answer; the first line says whether the ticket may run. */
export function readinessText(found: ReadinessReply, { ticket, line }: { ticket: string; line: string }): string {
  const { ready, blockers, warnings, expected, sums } = found
  const against = blockers.length > 0 ? `: ${counted(blockers.length, 'blocker')}` : ''
  return [
    `Ticket ${ticket} is ${ready ? '' : 'not '}ready on ${line}${against}.`,
    ...kindsOf(blockers).flatMap((kind) => kindText('blocker', kind)),
    ...kindsOf(warnings).flatMap((kind) => kindText('warning', kind)),
    ...(expected
      ? [
          `  sequence: ${counted(expected.labels, 'label')} in ${counted(expected.positions, 'frame')}, ${counted(expected.versions.length, 'version')}`,
        ]
      : []),
    ...(sums ? sumsText(sums) : []),
  ].join('\n')
}
