// The heads of the simulated line: what was decided at a label's point of no return is laid as the label passes, in part where the web
// stood still meanwhile, and reported.
import type { DueLabel } from '../../client/index.ts'
import type { LaidReport } from '../../protocol/index.ts'
import type { LineGeometry } from './geometry.ts'
import type { Logbook } from './logbook.ts'

/** A label that is being laid. */
interface Lay {
  readonly frame: number
  readonly cell: number
  /** Between which encoder positions it lies under each head that has work on it, mm. */
  readonly under: readonly { readonly fromMm: number; readonly toMm: number }[]
  readonly endMm: number
  laid: LaidReport['laid']
}

export interface Head {
  /** Takes a label at its point of no return. */
  due(due: DueLabel): void
  /** The web stands here: what is under a head is laid in part only. */
  stand(positionMm: number): void
  /** Reports of the labels that have passed all heads. */
  passed(positionMm: number): readonly LaidReport[]
  /** Labels on their way through the heads. */
  readonly busy: number
}

export interface HeadParts {
  readonly geometry: LineGeometry
  readonly book: Logbook
  readonly ordinalOf: (cell: number) => number
  /** What the scenario has the head do with a label; undefined: it lays it. */
  readonly plantedAt: (frame: number, cell: number) => 'none' | 'part' | 'unknown' | undefined
}

/** Opens the heads. */
export function openHead({ geometry, book, ordinalOf, plantedAt }: HeadParts): Head {
  const cells = new Map(geometry.cells.map((cell) => [cell.cell, cell]))
  let lays: Lay[] = []
  return {
    due({ frame, cell, decision, because, noReturnMm }) {
      const ordinal = ordinalOf(cell)
      if (decision === 'skip') {
        book.skipped(frame, ordinal, because ?? 'answered')
        return
      }
      const lengthMm = cells.get(cell)?.lengthMm ?? 0
      const stations = [...new Set(decision.layers.map(({ station }) => station))]
      const under = stations.map((station) => {
        const fromMm = noReturnMm + (geometry.stations.get(station) ?? 0)
        return { fromMm, toMm: fromMm + lengthMm }
      })
      const laid = plantedAt(frame, cell) ?? 'full'
      if (laid !== 'none') book.laid(frame, ordinal, decision.ledgerIndex)
      lays.push({ frame, cell, under, endMm: Math.max(noReturnMm, ...under.map(({ toMm }) => toMm)), laid })
    },
    stand(positionMm) {
      for (const lay of lays) {
        const isUnder = lay.under.some(({ fromMm, toMm }) => fromMm < positionMm && positionMm < toMm)
        if (isUnder && lay.laid === 'full') lay.laid = 'part'
      }
    },
    passed(positionMm) {
      const [first] = lays
      if (!first || first.endMm > positionMm) return []
      const reports = lays.filter(({ endMm }) => endMm <= positionMm)
      lays = lays.filter(({ endMm }) => endMm > positionMm)
      return reports.map(({ frame, cell, laid }) => ({ frame, cell, laid }))
    },
    get busy() {
      return lays.length
    },
  }
}
