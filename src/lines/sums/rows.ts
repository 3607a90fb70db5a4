// What the sums say against a ticket, as rows of readiness: what is wrong, what would mend it.
import type { ReelSums, TicketSums } from './result.ts'

export const sumsCodes = [
  'height-over-table',
  'speed-over-ceiling',
  'roll-too-large',
  'ridge-too-high',
  'foil-short',
  'nothing-expected',
  'layer-unread',
] as const

export interface SumsRow {
  readonly code: (typeof sumsCodes)[number]
  readonly message: string
  /** What would mend it. */
  readonly mend: string
  readonly measured?: number
  readonly limit?: number
  readonly job?: string
  readonly design?: string
  readonly version?: number
  readonly layer?: string
}

export interface SumsRows {
  /** A run may not open with these. */
  readonly blockers: readonly SumsRow[]
  /** A run may open; a person should know. */
  readonly warnings: readonly SumsRow[]
}

const rounded = (value: number, digits = 1): number => Number(value.toFixed(digits))

function standstill({ speed, peak }: TicketSums): SumsRow[] {
  return speed.limits.flatMap(({ limit, mPerMin, counts, from }): SumsRow[] => {
    if (mPerMin > 0 || !counts) return []
    if (limit === 'height') {
      const { um, ...of } = peak
      return [
        {
          code: 'height-over-table',
          ...of,
          message: 'the layers of a label stand higher over one another than any row of the line’s speed table, µm',
          mend: 'lower a layer or move layers apart, or measure a speed for this height and add it to speed.byHeight',
          measured: rounded(um),
          limit: from.heightUmMax ?? 0,
        },
      ]
    }
    return [
      {
        code: 'speed-over-ceiling',
        message: `no web is left between reading a code and the station that must know in time (${limit}), mm`,
        mend: 'move the sensor or the station, or lower handlingMm or reading.lagMm if they are less in truth',
        measured: rounded(from.distanceMm ?? 0),
        limit: 0,
      },
    ]
  })
}

function windingRows({ roll, ridge }: TicketSums): SumsRow[] {
  const { unwindMm, unwindMmMax, rewoundMm, rewoundMmMax } = roll ?? {}
  const rows: SumsRow[] = []
  if (unwindMm !== undefined && unwindMmMax !== undefined && unwindMm > unwindMmMax) {
    rows.push({
      code: 'roll-too-large',
      message: 'the roll is larger than the unwinder takes, mm',
      mend: 'divide the roll before it comes to the line, or take a line with a larger unwinder',
      measured: rounded(unwindMm),
      limit: unwindMmMax,
    })
  }
  if (rewoundMm !== undefined && rewoundMmMax !== undefined && rewoundMm > rewoundMmMax) {
    rows.push({
      code: 'roll-too-large',
      message: 'the roll will be larger than the rewinder takes once it is laid, mm',
      mend: 'split the roll in two, lower the layers where they make a ridge, or wind on a smaller core',
      measured: rounded(rewoundMm),
      limit: rewoundMmMax,
    })
  }
  if (ridge.differenceUmMax !== undefined && ridge.differenceUm > ridge.differenceUmMax) {
    rows.push({
      code: 'ridge-too-high',
      message: `the layers make a ridge at ${rounded(ridge.atMm)} mm across the web that will not wind evenly, mean µm`,
      mend: 'move or lower layers that stand in one line along the web, or split the roll into shorter ones',
      measured: rounded(ridge.differenceUm),
      limit: ridge.differenceUmMax,
    })
  }
  return rows
}

function reelRow({ station, foil, neededM, reelM = 0, reels }: ReelSums): SumsRow {
  const count =
    reels === undefined ? 'a reel longer than its threading' : `${reels} reels of this length, one after the other`
  return {
    code: 'foil-short',
    message: `the reel of ${foil} on the ${station} station is shorter than the roll and its threading need, m`,
    mend: `have ${count} at hand, or a longer reel`,
    measured: reelM,
    limit: rounded(neededM),
  }
}

function speedRows({ wishMPerMin, speed }: TicketSums): SumsRow[] {
  if (wishMPerMin === undefined || speed.mPerMin === undefined || wishMPerMin <= speed.mPerMin) return []
  return [
    {
      code: 'speed-over-ceiling',
      message: `the speed is above what ${speed.binds} allows, m/min`,
      mend: 'run at the ceiling or below',
      measured: wishMPerMin,
      limit: rounded(speed.mPerMin, 2),
    },
  ]
}

function incompleteRows({ extent, unread }: TicketSums): SumsRow[] {
  const lost = unread.map(
    ({ code: _, message, ...of }): SumsRow => ({
      code: 'layer-unread',
      ...of,
      message: `the layer is missing in the sums: ${message}`,
      mend: 'publish the same package again',
    }),
  )
  if (extent) return lost
  return [
    ...lost,
    {
      code: 'nothing-expected',
      message: 'how long the roll is is not known, so neither is what it takes',
      mend: 'put expectedFrames, a sequence, material.lengthM or both diameters of the roll on the ticket',
    },
  ]
}

/** The rows that the sums of a ticket earn. What could not be worked out earns none. */
export function sumsRows(sums: TicketSums): SumsRows {
  const tooShort = sums.reels.filter(({ suffices }) => suffices === false)
  return {
    blockers: [...standstill(sums), ...windingRows(sums)],
    warnings: [...tooShort.map(reelRow), ...speedRows(sums), ...incompleteRows(sums)],
  }
}
