// What a controller is told of a run as a whole: the welcome, and its state with the open stops.
import { limits } from '../kernel/limits.ts'
import { protocolVersion, type RollcallMessage } from '../protocol/index.ts'
import { type Outlook, type Run, toMm } from '../runs/index.ts'

type Welcome = Extract<RollcallMessage, { type: 'welcome' }>

/** Frames whose answers together stay well below what may wait for a controller. */
export const windowOf = ({ state }: Run): number =>
  Math.min(limits.framesPerRequestMax, Math.floor(limits.lineWindowLabelsMax / state.cells.length))

const openCause = ({ cause, frame, cell }: Run['shown']['causes'][number]) => ({
  cause,
  ...(frame === undefined ? {} : { frame }),
  ...(cell === undefined ? {} : { cell }),
})

export function welcomeTo(
  run: Run,
  agreed: Pick<Welcome, 'heartbeatMs' | 'silenceMs' | 'windowFrames' | 'atMs'>,
): Welcome {
  const { name, causes } = run.shown
  return {
    type: 'welcome',
    protocol: protocolVersion,
    runId: run.runId,
    state: name,
    cursor: run.durableSize - 1,
    pitchMm: toMm(run.state.pitchUm),
    cells: run.state.cells.map(({ cell, lane, row, noReturnAfterUm }) => {
      return { cell, lane, row, noReturnAfterMm: toMm(noReturnAfterUm) }
    }),
    causes: causes.map(openCause),
    ...agreed,
  }
}

export function stateOf({ shown: { name, causes, by } }: Run): RollcallMessage {
  return { type: 'state', state: name, causes: causes.map(openCause), ...(by === undefined ? {} : { by }) }
}

export const outlookOf = ({ place, labels }: Outlook): RollcallMessage => ({
  type: 'outlook',
  place,
  labels: labels.map(({ layers, ...label }) => ({ ...label, layers: [...layers] })),
})
