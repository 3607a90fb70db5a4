// What a run laid, by what one label takes, against the forecast for its ticket.
import type { WebFold } from './fold.ts'

/** The part of a ticket's sums that a record is held against; mL. */
export interface ForecastSums {
  /** Present where no sequence said what is on the roll: cells are taken to be shared evenly by the versions that fit. */
  readonly assumed?: 'even'
  readonly designs: readonly {
    readonly job: string
    readonly design: string
    readonly version: number
    readonly perLabel: readonly { readonly station: string; readonly fluid: string; readonly ml: number }[]
  }[]
  readonly stations: readonly {
    readonly station: string
    readonly fluid: string
    /** Of the run proper. */
    readonly laidMl: number
    readonly setUpMl: number
    readonly purgeMl: number
  }[]
}

export interface ConsumptionRow {
  readonly station: string
  readonly fluid: string
  /** Labels that carry it, set-up included. */
  readonly labels: number
  readonly laidMl: number
  /** Of the run proper and set-up; absent where the ticket says nothing of its length. */
  readonly forecastMl?: number
  /** Set aside for purging; not on any label. */
  readonly purgeMl?: number
}

export interface Consumption {
  readonly rows: readonly ConsumptionRow[]
  /** Labels laid with versions that the sums do not know. */
  readonly labelsUnknown: number
  readonly assumed?: 'even'
}

/** Labels that carry layers, by number of use: answered lay, not revoked, not reported none; spoiled and set-up ones included. */
export function labelsLaid({ web, labels, cells }: WebFold): ReadonlyMap<number, number> {
  const counts = new Map<number, number>()
  for (let place = 0; place < web.places; place++) {
    for (let ordinal = 0; ordinal < cells.length; ordinal++) {
      const use = labels.fate(place, ordinal) === 'lay' ? labels.use(place, ordinal) : undefined
      if (use !== undefined) counts.set(use, (counts.get(use) ?? 0) + 1)
    }
  }
  return counts
}

const keyOf = ({ job, design, version }: { job: string; design: string; version?: number }): string =>
  `${job}\n${design}\n${version}`

/** Labels laid × mL a label, by station and fluid. */
export function consumptionOf(fold: WebFold, sums: ForecastSums): Consumption {
  const perLabel = new Map(sums.designs.map((design) => [keyOf(design), design.perLabel]))
  const laid = new Map<string, { labels: number; ml: number }>()
  let labelsUnknown = 0
  for (const [number, labels] of labelsLaid(fold)) {
    const use = fold.labels.uses[number]
    const fluids = use && perLabel.get(keyOf(use))
    if (!fluids) labelsUnknown += labels
    for (const { station, fluid, ml } of fluids ?? []) {
      const key = `${station}\n${fluid}`
      const sum = laid.get(key) ?? { labels: 0, ml: 0 }
      laid.set(key, { labels: sum.labels + labels, ml: sum.ml + labels * ml })
    }
  }
  const forecasts = new Map(sums.stations.map((row) => [`${row.station}\n${row.fluid}`, row]))
  const keys = new Set([...forecasts.keys(), ...laid.keys()])
  const rows = [...keys].map((key): ConsumptionRow => {
    const [station = '', fluid = ''] = key.split('\n')
    const forecast = forecasts.get(key)
    return {
      station,
      fluid,
      labels: laid.get(key)?.labels ?? 0,
      laidMl: laid.get(key)?.ml ?? 0,
      ...(forecast ? { forecastMl: forecast.laidMl + forecast.setUpMl, purgeMl: forecast.purgeMl } : {}),
    }
  })
  return { rows, labelsUnknown, ...(sums.assumed ? { assumed: sums.assumed } : {}) }
}
