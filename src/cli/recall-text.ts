// What a recall came to, for a person: what was kept free of it, and where to look for what was not.
import { counted } from './counted.ts'
import { table } from './output.ts'

interface Label {
  readonly frame: number
  readonly cell: number
  readonly place: number
  readonly positionMm: number
  readonly roll: string
  readonly laid?: string
}

interface Listed {
  readonly labels: number
  readonly listed: readonly Label[]
}

export interface RecalledLabels {
  readonly revoked: Listed
  readonly passed: Listed & { readonly reported: Readonly<Record<string, number>> }
}

const rowsShown = 20

function reportedText({ reported }: RecalledLabels['passed']): string {
  const words = Object.entries(reported).filter(([, labels]) => labels > 0)
  return words.length > 0 ? ` (${words.map(([word, labels]) => `${labels} ${word}`).join(', ')})` : ''
}

/** In a few lines: counts, and the newest labels that had passed. */
export function recalledText({ revoked, passed }: RecalledLabels): string {
  const kept = `${counted(revoked.labels, 'label')} revoked in time`
  const gone = `${counted(passed.labels, 'label')} past the point of no return${reportedText(passed)}`
  const rows = passed.listed
    .slice(0, rowsShown)
    .map((row) => [row.frame, row.cell, row.place, row.positionMm, row.roll, row.laid ?? 'unreported'])
  const more = passed.labels - rows.length
  return [
    `${kept}, ${gone}`,
    ...(rows.length > 0 ? [table(['frame', 'cell', 'place', 'position mm', 'roll', 'laid'], rows)] : []),
    ...(more > 0 ? [`and ${counted(more, 'label')} before them; all of them: the run's pull list`] : []),
  ].join('\n')
}
