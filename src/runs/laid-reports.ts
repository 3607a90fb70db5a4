// Which laid reports are new: known cells of answered labels, one word a label.
import { Problem } from '../kernel/problem.ts'
import type { RunState } from './state.ts'
import type { LaidReport } from './wire.ts'

function knownWord(state: RunState, { frame: number, cell }: LaidReport): LaidReport['laid'] | undefined {
  const ordinal = state.cells.findIndex((candidate) => candidate.cell === cell)
  if (ordinal < 0) throw new Problem('cell-unknown', `the run has no cell ${cell}`, { measured: cell })
  const frame = state.frames.get(number)
  if (frame?.answersAt === undefined) throw new Problem('label-not-answered', `frame ${number} has no answer`)
  return frame.laid?.[ordinal]
}

/**
 * The reports that say something new, one a label. Problems, before anything is recorded: `cell-unknown`, `label-not-answered`, and
 * `laid-conflict` for a label that already has another word, in the ledger or in the same request.
 */
export function freshReports(state: RunState, reports: readonly LaidReport[]): readonly LaidReport[] {
  const fresh = new Map<string, LaidReport>()
  for (const report of reports) {
    const label = `frame ${report.frame}, cell ${report.cell}`
    const known = knownWord(state, report) ?? fresh.get(label)?.laid
    if (known !== undefined && known !== report.laid) {
      throw new Problem('laid-conflict', `${label} was reported ${known}`, { measured: report.laid, limit: known })
    }
    if (known === undefined) fresh.set(label, report)
  }
  return [...fresh.values()]
}
