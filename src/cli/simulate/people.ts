// What people do at the simulated line: they look at stops, compare set-up labels, and let the web go on.
import type { Flag } from '../../kernel/terms.ts'
import type { Output } from '../output.ts'
import { clearStops, isProvable, type OnStop, prove } from '../run-roll.ts'
import type { RunView } from '../run-text.ts'
import type { Server } from '../server.ts'
import type { People } from './drive.ts'

export interface PeopleParts {
  readonly server: Server
  readonly runId: string
  readonly by?: string | undefined
  readonly provedBy: string | undefined
  readonly onStop: OnStop
  readonly setUpFrames: number
  readonly output: Output
  /** Called before anybody is asked anything. */
  readonly onAttend: () => void
  /** Told of each stop that was looked at. */
  readonly onStopped: (flag: Flag) => void
  /** Whether the run was still to be proved when the roll began. */
  readonly proving: boolean
  /** Resolves when the controller has heard of what was done. */
  readonly heard: (state: 'open' | 'proving') => Promise<unknown>
}

/** Opens the people of a run. */
export function openPeople(parts: PeopleParts): People {
  const { server, runId, onStop, setUpFrames: setupFrames, output } = parts
  const viewOf = (): Promise<RunView> => server.get(`/runs/${encodeURIComponent(runId)}`)
  let proving = parts.proving
  return {
    get proving() {
      return proving
    },
    async attend() {
      parts.onAttend()
      let view = await viewOf()
      const open = view.causes.filter(({ status }) => status === 'open')
      for (const { cause } of open) parts.onStopped(cause.flag)
      if (open.length > 0 && onStop === 'end') return 'end'
      await clearStops(server, view, parts, output)
      if (open.length > 0) view = await viewOf()
      if (view.state === 'proving' && isProvable(view, { setupFrames })) {
        await prove(server, view, parts, output)
        view = await viewOf()
      }
      proving = view.state === 'proving'
      await parts.heard(proving ? 'proving' : 'open')
      return 'go-on'
    },
  }
}
