// The check of a line profile: everything at once, what does not fit the schema and what the rest of it says that cannot be.
import type { Finding, ProblemCode } from '../kernel/problem.ts'
import { schemaFindings } from '../kernel/schema-findings.ts'
import { policyFindings } from './policy.ts'
import { type LineProfile, type LineStation, lineSchema } from './profile.ts'
import { type SoundParts, soundParts, soundRows } from './sound-parts.ts'

export interface LineCheck {
  /** Only without findings. */
  readonly line?: LineProfile
  readonly findings: readonly Finding[]
}

/** The codes of `checkLine`'s findings. */
export const lineCodes = [
  'line-schema',
  'line-stations',
  'line-heights',
  'line-speed',
  'line-charts',
  'line-winding',
] as const satisfies readonly ProblemCode[]

type Parts = SoundParts<LineProfile>
interface StationAt {
  readonly station: LineStation
  readonly at: number
}

/** Checks what is hoped to be a line profile; never throws. */
export function checkLine(value: unknown): LineCheck {
  const parsed = lineSchema.safeParse(value)
  const ofSchema = parsed.success ? [] : schemaFindings(parsed.error, value, 'line-schema')
  const parts: Parts = parsed.success ? parsed.data : soundParts(lineSchema, value)
  const rows = soundRows(lineSchema.shape.stations.element, (value as { stations?: unknown } | null)?.stations)
  const stations = rows.flatMap((station, at): StationAt[] => (station ? [{ station, at }] : []))
  const findings = [
    ...ofSchema,
    ...policyFindings(parts),
    ...stations.flatMap((row) => [...ownFindings(row), ...heightFindings(row, parts)]),
    // A station that does not fit may be the one that another one needs.
    ...(stations.length === rows.length ? stations.flatMap((row) => adhesiveFindings(row, stations)) : []),
    ...orderFindings(stations),
    ...shaftFindings(stations),
    ...speedFindings(parts),
    ...chartFindings(parts),
    ...windingFindings(parts),
  ]
  return parsed.success && findings.length === 0 ? { line: parsed.data, findings } : { findings }
}

const foilKeys = ['adhesive', 'nip', 'shafts', 'threadingM'] as const

function ownFindings({ station, at }: StationAt): Finding[] {
  const pointer = `/stations/${at}`
  const { atHand, notAtHand } = station.handlingMm
  const code = 'line-stations'
  const misplaced = foilKeys
    .filter((key) => station.station !== 'foil' && station[key] !== undefined)
    .map((key): Finding => {
      const message = `only a foil station has ${key}`
      return { code, message, pointer: `${pointer}/${key}`, measured: station.station, limit: 'foil' }
    })
  const tooLong = (['atHand', 'notAtHand'] as const)
    .filter((key) => station.handlingMm[key] >= station.distanceMm)
    .map((key): Finding => {
      const message = 'the layer needs all the travel from the code sensor to the station, or more, mm'
      const measured = station.handlingMm[key]
      return { code, message, pointer: `${pointer}/handlingMm/${key}`, measured, limit: station.distanceMm }
    })
  if (atHand <= notAtHand) return [...misplaced, ...tooLong]
  const message = 'a layer at hand needs more travel than one that is not, mm'
  const turned: Finding = { code, message, pointer: `${pointer}/handlingMm/atHand`, measured: atHand, limit: notAtHand }
  return [...misplaced, turned, ...tooLong]
}

function adhesiveFindings({ station, at }: StationAt, stations: readonly StationAt[]): Finding[] {
  if (!station.adhesive || station.station !== 'foil') return []
  const wanted = station.adhesive.station
  const found = stations.find((row) => row.station.station === wanted)
  const base = { code: 'line-stations' as const, pointer: `/stations/${at}/adhesive/station` }
  if (!found) {
    const limit = stations.map((row) => row.station.station).join(', ')
    return [{ ...base, message: `the line has no ${wanted} station to lay the adhesive`, measured: wanted, limit }]
  }
  // A foil station may have an adhesive head of its own.
  if (found.at <= at) return []
  const message = `the ${wanted} station stands behind the foil station, so its adhesive would come after the foil`
  return [{ ...base, message, measured: found.at, limit: at }]
}

function heightFindings({ station, at }: StationAt, { heightUmMax }: Parts): Finding[] {
  const max = station.heightUm?.max
  if (max === undefined || heightUmMax === undefined || max <= heightUmMax) return []
  const message = 'the station lays higher than the line allows, µm'
  return [{ code: 'line-heights', message, pointer: `/stations/${at}/heightUm/max`, measured: max, limit: heightUmMax }]
}

function orderFindings(stations: readonly StationAt[]): Finding[] {
  return stations.flatMap(({ station, at }, i): Finding[] => {
    const before = stations[i - 1]?.station
    if (!before || before.distanceMm < station.distanceMm) return []
    const message = `stations stand in web order, but this one is not behind the ${before.station} station, mm`
    const pointer = `/stations/${at}/distanceMm`
    return [{ code: 'line-stations', message, pointer, measured: station.distanceMm, limit: before.distanceMm }]
  })
}

function shaftFindings(stations: readonly StationAt[]): Finding[] {
  const seen = new Set<string>()
  return stations.flatMap(({ station, at }) =>
    (station.shafts ?? []).flatMap(({ shaft }, i): Finding[] => {
      const isFirst = !seen.has(shaft)
      seen.add(shaft)
      const pointer = `/stations/${at}/shafts/${i}/shaft`
      return isFirst ? [] : [{ code: 'line-stations', message: 'a shaft is named twice', pointer, measured: shaft }]
    }),
  )
}

function speedFindings({ speed }: Parts): Finding[] {
  if (!speed) return []
  return (speed.byHeight ?? []).flatMap((row, i, rows): Finding[] => {
    const pointer = `/speed/byHeight/${i}/mPerMinMax`
    const measured = row.mPerMinMax
    const before = rows[i - 1]
    const found: Finding[] = []
    if (measured > speed.mPerMinMax) {
      const message = 'the table allows more than the line runs at most, m/min'
      found.push({ code: 'line-speed', message, pointer, measured, limit: speed.mPerMinMax })
    }
    if (before && measured > before.mPerMinMax) {
      const message = 'a higher layer may not run faster than a lower one, m/min'
      found.push({ code: 'line-speed', message, pointer, measured, limit: before.mPerMinMax })
    }
    return found
  })
}

function chartFindings({ charts = [] }: Parts): Finding[] {
  const names = charts.map(({ chart }) => chart)
  return charts.flatMap(({ chart, positions }, i) => {
    const numbers = positions.map(({ number }) => number)
    const twice: Finding[] = numbers.flatMap((number, n) => {
      const message = `chart ${chart} has number ${number} twice`
      const pointer = `/charts/${i}/positions/${n}/number`
      return numbers.indexOf(number) < n ? [{ code: 'line-charts' as const, message, pointer, measured: number }] : []
    })
    const pointer = `/charts/${i}/chart`
    const message = 'a chart of this name stands there twice'
    return names.indexOf(chart) < i
      ? [{ code: 'line-charts' as const, message, pointer, measured: chart }, ...twice]
      : twice
  })
}

function windingFindings({ rewind }: Parts): Finding[] {
  const { coreOuterMm, diameterMmMax } = rewind ?? {}
  if (coreOuterMm === undefined || diameterMmMax === undefined || coreOuterMm < diameterMmMax) return []
  const message = 'the core is as large as the largest roll, or larger, mm'
  return [
    { code: 'line-winding', message, pointer: '/rewind/coreOuterMm', measured: coreOuterMm, limit: diameterMmMax },
  ]
}
