// What a run answers, for one who follows it: from a cursor on, first what the database holds, page by page, then each commit as it
// becomes durable. Nothing comes twice and nothing is missing, whenever commits fall.
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import { Problem } from '../kernel/problem.ts'
import type { Entry } from '../ledger/index.ts'
import type { LedgerHead } from '../storage/port.ts'
import type { Run } from './run.ts'
import type { Told } from './told.ts'

/** In ledger order; where both are empty the cursor alone has moved. */
export interface FeedPage extends Told {
  /** The last entry looked at. */
  readonly cursor: number
}

export interface FeedOrder {
  /** Ledger index of the last entry known; −1 for all. */
  readonly after: number
  /** Takes the next page; called in order, never again after `stop`. */
  take(page: FeedPage): void
  /** Resolves when there is room for another page of what is stored. What becomes durable later is not held back. */
  room(): Promise<void>
  /** Called once if the run fails or its ledger can't be read; nothing comes afterwards. */
  ended(problem: Problem): void
}

export interface RunFeed {
  readonly cursor: number
  stop(): void
}

/** Entries looked at in one go: some milliseconds of decoding, between which others get their turn. */
const pageEntries = 256
/** Of one commit: it may hold what a month's frames were answered. */
const livePageEntries = 1_024

/** Follows a run. Memory: one page. */
export function followRun(
  run: Pick<Run, 'follow' | 'durableSize' | 'answersAfter' | 'told'>,
  order: FeedOrder,
): RunFeed {
  let { after: cursor } = order
  let isLive = false
  let isOver = false
  const stop = (): void => {
    isOver = true
    unfollow()
  }
  const end = (problem: Problem): void => {
    if (isOver) return
    stop()
    order.ended(problem)
  }
  const take = (page: FeedPage): void => {
    cursor = page.cursor
    order.take(page)
  }
  const written = (entries: readonly Entry[], head: LedgerHead): void => {
    // Until the last page has been read, the database is where this waits.
    if (!isLive) return
    for (let from = 0; from < entries.length && !isOver; from += livePageEntries) {
      const some = entries.slice(from, from + livePageEntries)
      take({ ...run.told(some, () => head), cursor: some.at(-1)?.index ?? cursor })
    }
  }
  const unfollow = run.follow({ written, failed: end })
  const catchUp = async (): Promise<void> => {
    while (!isOver && cursor + 1 < run.durableSize) {
      const page = await run.answersAfter(cursor, pageEntries)
      if (isOver) return
      if (page.cursor === cursor)
        throw new Problem('ledger-bad', `entry ${cursor + 1} is durable and cannot be found`, { row: cursor + 2 })
      take(page)
      await turnOfTheLoop()
      await order.room()
    }
    // Nothing was awaited since the size was looked at, so the next entry to be told of is the next one of the ledger.
    isLive = true
  }
  catchUp().catch((error) =>
    end(error instanceof Problem ? error : new Problem('internal', 'the ledger cannot be followed')),
  )
  return {
    get cursor() {
      return cursor
    },
    stop,
  }
}
