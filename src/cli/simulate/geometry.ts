// The line as a roll meets it: travel from a frame's mark to each label's point of no return, and where the heads stand behind that.
import { Problem } from '../../kernel/problem.ts'
import type { StationKind } from '../../kernel/terms.ts'
import { type LineProfile, orientationOf, type Ticket } from '../../lines/index.ts'
import type { JobView } from './published.ts'

export interface CellOnLine {
  readonly cell: number
  readonly lane: number
  /** From the mark to the point of no return, mm; answers say the same. */
  readonly noReturnAfterMm: number
  /** Of the label along the web, mm. */
  readonly lengthMm: number
}

export interface LineGeometry {
  readonly pitchMm: number
  readonly cells: readonly CellOnLine[]
  /** From a label's point of no return to the station, mm. */
  readonly stations: ReadonlyMap<StationKind, number>
  /** Web travel from the sensor to behind the last station, mm. */
  readonly lengthMm: number
}

// The first station that can skip labels has to know; where none can, the first of all.
function travelMm({ stations }: LineProfile): number {
  const skipping = stations.filter(({ skips }) => skips)
  return Math.min(...(skipping.length > 0 ? skipping : stations).map((one) => one.distanceMm - one.handlingMm.atHand))
}

/** Problem `orientation-impossible` where no roll can run so. */
export function geometryOf(line: LineProfile, ticket: Ticket, { frame }: Pick<JobView, 'frame'>): LineGeometry {
  const orientation = orientationOf({ ticket, line, frame })
  if (orientation.kind === 'impossible') throw new Problem('orientation-impossible', orientation.message)
  const { eyeMark, pitchMm } = frame
  const turned = orientation.frameTurnDeg === 180
  const markMm = eyeMark ? (turned ? pitchMm - eyeMark.topMm - eyeMark.heightMm : eyeMark.topMm) : 0
  const travel = travelMm(line)
  return {
    pitchMm,
    cells: orientation.cells.map(({ cell, lane, topMm, heightMm }) => ({
      cell,
      lane,
      noReturnAfterMm: travel + topMm - markMm,
      lengthMm: heightMm,
    })),
    stations: new Map(line.stations.map(({ station, distanceMm }) => [station, distanceMm - travel])),
    lengthMm: Math.max(...line.stations.map(({ distanceMm }) => distanceMm)) + pitchMm * 3,
  }
}
