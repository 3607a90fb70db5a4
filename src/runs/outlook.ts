// What probably comes next on a run whose ticket has a sequence, so that a controller can fetch layers before their labels are read.
// A guess: nothing is ever laid on it.
import type { ExpectedLabel, ExpectedLabels } from './expected-labels.ts'
import type { Run } from './run.ts'
import { versionKey } from './state.ts'
import type { Answer } from './wire.ts'

export interface OutlookLabel extends ExpectedLabel {
  readonly place: number
  readonly cell: number
}

export interface Outlook {
  /** The first place that it is about. */
  readonly place: number
  readonly labels: readonly OutlookLabel[]
}

const framesAheadMax = 32
const labelsAheadMax = 512

/**
 * Returns what is to be called with a run's answers as they come: it gives the labels that probably follow the last one whose code
 * stands in the sequence, and nothing while what it gave before reaches far enough.
 */
export function openOutlook(
  run: Pick<Run, 'state'>,
  expected: ExpectedLabels,
): (answers: readonly Answer[]) => Outlook | undefined {
  const { state } = run
  const { ticket } = state
  const step = ticket.direction === 'reversed' ? -1 : 1
  const framesAhead = Math.max(1, Math.min(framesAheadMax, Math.floor(labelsAheadMax / state.cells.length)))
  // Position minus place (plus, where the roll runs the other way round), and the place up to which it was told.
  let told: { readonly offset: number; readonly to: number } | undefined

  const labelsAt = (place: number, position: number): OutlookLabel[] =>
    state.cells.flatMap(({ cell }) => {
      const label = expected.at(position, cell)
      if (!label || state.withdrawn.has(versionKey(label.job, label.design, label.version))) return []
      return [{ ...label, place, cell }]
    })

  return (answers) => {
    // Another ticket has another sequence.
    if (state.ticket !== ticket) return undefined
    const known = answers.findLast(({ identity }) => identity && expected.positionOf(identity.text) !== undefined)
    const position = known?.identity ? expected.positionOf(known.identity.text) : undefined
    if (!known || position === undefined) return undefined
    const { place } = known
    const offset = position - step * place
    if (told?.offset === offset && place + framesAhead / 2 <= told.to && place <= told.to) return undefined
    told = { offset, to: place + framesAhead }
    const labels = Array.from({ length: framesAhead }, (_, i) =>
      labelsAt(place + 1 + i, position + step * (i + 1)),
    ).flat()
    return labels.length > 0 ? { place: place + 1, labels } : undefined
  }
}
