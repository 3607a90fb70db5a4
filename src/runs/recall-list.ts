// What a recall came to in a run: the labels that were kept free of the version, and those that had passed their points of no return.
// Worked out from the state, so that it is the same right after the recall and long afterwards. Cost: one look at every label.
import { type LaidWord, type RunState, ticketAt, versionKey } from './state.ts'
import { toMm } from './wire.ts'

/** Labels listed of a kind; the newest, which lie nearest to the stations. What goes beyond is counted. */
const listedMax = 1_000

export interface RecalledLabel {
  readonly frame: number
  readonly cell: number
  readonly place: number
  readonly positionMm: number
  readonly roll: string
  /** What the controller said of it; absent: nothing yet. */
  readonly laid?: LaidWord
}

interface Listed {
  readonly labels: number
  /** Newest first, at most a thousand. */
  readonly listed: readonly RecalledLabel[]
}

export interface RecallList {
  readonly job: string
  readonly design: string
  readonly version: number
  readonly by: string
  readonly why?: string
  readonly atMs: number
  /** Ledger index of the act. */
  readonly ledgerIndex: number
  /** Answered lay, revoked in time: nothing is laid on them. */
  readonly revoked: Listed
  /** Answered lay, and past the point of no return: expect it on them, unless reported `none`. */
  readonly passed: Listed & {
    /** Of them, by what was reported; `unreported` for those of which nothing was said. */
    readonly reported: Readonly<Record<LaidWord | 'unreported', number>>
  }
}

interface Counted {
  labels: number
  readonly listed: RecalledLabel[]
}

const note = (into: Counted, label: () => RecalledLabel): void => {
  into.labels++
  if (into.listed.length < listedMax) into.listed.push(label())
}

function listOf(state: RunState, recall: RunState['recalls'][number]): RecallList {
  const { job, design, version, index, ...act } = recall
  const use = state.versions.get(versionKey(job, design, version))
  const revoked: Counted = { labels: 0, listed: [] }
  const passed: Counted = { labels: 0, listed: [] }
  const reported = { full: 0, part: 0, none: 0, unknown: 0, unreported: 0 }
  for (const frame of [...state.frames.values()].reverse()) {
    const { answersAt } = frame
    if (use === undefined || answersAt === undefined || answersAt > index) continue
    state.cells.forEach(({ cell }, ordinal) => {
      // Only the frame on which a place was last answered lay speaks for it.
      const answer = answersAt + ordinal
      if (state.places.version(frame.place, ordinal) !== use) return
      if (state.places.answer(frame.place, ordinal) !== answer) return
      const laid = frame.laid?.[ordinal]
      const label = (): RecalledLabel => ({
        frame: frame.frame,
        cell,
        place: frame.place,
        positionMm: toMm(frame.positionUm),
        roll: ticketAt(state, frame.entryIndex).roll,
        ...(laid === undefined ? {} : { laid }),
      })
      if (state.revoked.has(answer)) note(revoked, label)
      else {
        note(passed, label)
        reported[laid ?? 'unreported']++
      }
    })
  }
  return { job, design, version, ...act, ledgerIndex: index, revoked, passed: { ...passed, reported } }
}

const namedMax = 8

/** The newest labels of a list in words, and how many more there are. */
export function labelsText({ labels, listed }: Listed): string {
  const named = listed.slice(0, namedMax).map(({ frame, cell, laid }) => `${frame}/${cell}${laid ? ` ${laid}` : ''}`)
  const more = labels - named.length
  return [...named, ...(more > 0 ? [`${more} more`] : [])].join(', ')
}

/** The recalls that reached a run, in order. */
export const recallLists = (state: RunState): readonly RecallList[] =>
  state.recalls.map((recall) => listOf(state, recall))

/** Those of one version; a run has one at most. */
export const recallListOf = (
  state: RunState,
  of: { readonly job: string; readonly design: string; readonly version: number },
): RecallList | undefined => {
  const key = versionKey(of.job, of.design, of.version)
  const recall = state.recalls.find((row) => versionKey(row.job, row.design, row.version) === key)
  return recall && listOf(state, recall)
}
