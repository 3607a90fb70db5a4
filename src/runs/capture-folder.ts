// The watched capture folder: events are hints, a rescan every second is the authority.
import { watch } from 'chokidar'
import { Problem } from '../kernel/problem.ts'
import type { Captures } from './captures.ts'
import type { Runs } from './registry.ts'

interface Watching {
  readonly folder: string
  readonly captures: Captures
  readonly runs: Runs
  readonly rescanMs: number
  readonly tell: (event: {
    readonly kind: 'refused' | 'fault'
    readonly file?: string
    readonly problem: Error
  }) => void
}

/** Watches until `close`. A rescan looks at the runs held in memory whose state takes frames. */
export function watchCaptures({ folder, captures, runs, rescanMs, tell }: Watching): { close(): Promise<void> } {
  let scanning: Promise<void> | undefined
  let again = false
  let closed = false

  const fault = (error: unknown): void => {
    const problem = error instanceof Problem ? error : new Error('the capture folder cannot be read', { cause: error })
    tell({ kind: 'fault', problem })
  }
  const scan = async (): Promise<void> => {
    for (const run of await runs.held()) {
      if (!['proving', 'open', 'stopped'].includes(run.state.name)) continue
      // One run's trouble is not the others'.
      const refused = await captures.take(run).catch(fault)
      for (const { file, problem } of refused ?? []) tell({ kind: 'refused', file, problem })
    }
  }
  const wake = (): void => {
    if (closed) return
    if (scanning) {
      again = true
      return
    }
    again = false
    scanning = scan()
      .catch(fault)
      .finally(() => {
        scanning = undefined
        if (again) wake()
      })
  }
  const watcher = watch(folder, { depth: 1, ignoreInitial: true })
  watcher.on('add', wake)
  // Out of watches (ENOSPC): the rescans go on alone.
  watcher.on('error', (error) => tell({ kind: 'fault', problem: error as Error }))
  const timer = setInterval(wake, rescanMs)
  return {
    async close() {
      closed = true
      clearInterval(timer)
      await watcher.close()
      await scanning
    },
  }
}
