// A run as commands show it.
import type { Cause, MaterialEvent } from '../runs/index.ts'
import { counted } from './counted.ts'
import { materialText } from './material-text.ts'

export interface RunView {
  readonly runId: string
  readonly state: string
  readonly ticket: string
  /** Those that the run went through; the last is `ticket`. */
  readonly tickets: readonly string[]
  readonly roll: string
  readonly line: string
  readonly lanes: readonly number[]
  readonly provableLanes: readonly number[]
  readonly material?: readonly (MaterialEvent & { readonly ledgerIndex: number })[]
  readonly proving?: { readonly again?: string; readonly why?: string; readonly frames: number }
  readonly pending: number
  readonly lastFrame: number
  readonly counts: {
    readonly frames: number
    readonly labels: number
    readonly lay: number
    readonly skip: number
    readonly stop: number
    readonly setup: number
    readonly revoked: number
    readonly flags: Readonly<Record<string, number>>
  }
  readonly causes: readonly {
    readonly cause: Cause
    readonly status: string
    readonly frame?: number
    readonly cell?: number
  }[]
}

export const causeText = (cause: Cause): string =>
  [cause.flag, cause.job, cause.design, cause.print].filter(Boolean).join('/')

const eventsShown = 12

// The latest events of the material, by the entry that a `void` names.
function materialTexts({ material = [] }: RunView): string[] {
  const rows = material.slice(-eventsShown).map((event) => `  entry ${event.ledgerIndex}: ${materialText(event)}`)
  const more = material.length - rows.length
  return more > 0 ? [`  ${counted(more, 'earlier event')} of the material`, ...rows] : rows
}

function namesText({ ticket, tickets, roll, line }: RunView): string {
  const before = tickets.slice(0, -1)
  return `  ticket ${ticket}${before.length > 0 ? ` (before: ${before.join(', ')})` : ''}, roll ${roll}, line ${line}`
}

/** A run in a few lines: state, counts, and what a person may have to do next. */
export function viewText(view: RunView): string {
  const { counts, runId } = view
  const labels = `${counted(counts.labels, 'label')}: ${counts.lay} lay, ${counts.skip} skip, ${counts.stop} stop`
  const flags = Object.entries(counts.flags).map(([flag, count]) => `${count} ${flag}`)
  const open = view.causes.filter((row) => row.status === 'open')
  const stops = open.map(({ cause, frame, cell }) => {
    const where = frame === undefined ? '' : ` at frame ${frame}, cell ${cell}`
    return `  stop open: ${causeText(cause)}${where}`
  })
  const { again, why } = view.proving ?? {}
  const asked = again ? [`  proving is asked for again: ${why ?? again}; see rollcall set-up ${runId}`] : []
  return [
    `run ${runId} is ${view.state}: ${counted(counts.frames, 'frame')}, ${labels} (set-up ${counts.setup}, revoked ${counts.revoked})`,
    namesText(view),
    ...(flags.length > 0 ? [`  flags: ${flags.join(', ')}`] : []),
    ...materialTexts(view),
    ...asked,
    ...stops,
    ...(open.length > 0 ? [`  look, then: rollcall clear ${runId} --cause … --after resume or skip-rest`] : []),
    ...(view.state === 'sealed' ? [`  keep a witness elsewhere: rollcall checkpoint ${runId} --out FILE`] : []),
  ].join('\n')
}
