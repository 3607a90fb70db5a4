// Feeding a roll through a run: set-up and proving first, then frames in order, with a person asked at every stop.
import { createInterface } from 'node:readline/promises'
import { setTimeout as pause } from 'node:timers/promises'
import { Problem } from '../kernel/problem.ts'
import type { Answer, Cause } from '../runs/index.ts'
import { type Feed, frameOf } from './feed.ts'
import type { Output } from './output.ts'
import type { Server } from './server.ts'

export interface RunView {
  readonly runId: string
  readonly state: string
  readonly lanes: readonly number[]
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

export type OnStop = 'ask' | 'skip-rest' | 'resume' | 'end'

export interface RollPlan {
  readonly feeds: readonly Feed[]
  readonly by: string
  /** Frames fed before proving is asked for. */
  readonly setupFrames: number
  /** Who compares embellishment with code; asked for on a terminal where absent. */
  readonly provedBy: string | undefined
  readonly onStop: OnStop
  /** Pictures under way at most. */
  readonly pendingMax: number
}

async function ask(question: string): Promise<string> {
  if (!process.stdin.isTTY) throw new Problem('usage', `nobody is here to answer: ${question}`)
  const terminal = createInterface({ input: process.stdin, output: process.stderr })
  try {
    return (await terminal.question(`${question} `)).trim()
  } finally {
    terminal.close()
  }
}

const viewOf = (server: Server, runId: string): Promise<RunView> => server.get(`/runs/${encodeURIComponent(runId)}`)

async function settle(server: Server, runId: string, pendingMax: number): Promise<RunView> {
  for (;;) {
    const view = await viewOf(server, runId)
    if (view.pending <= pendingMax) return view
    await pause(5)
  }
}

export const causeText = (cause: Cause): string =>
  [cause.flag, cause.job, cause.design, cause.print].filter(Boolean).join('/')

async function clearStops(server: Server, view: RunView, plan: RollPlan, output: Output): Promise<void> {
  for (const { cause, frame, cell } of view.causes.filter((row) => row.status === 'open')) {
    const where = frame === undefined ? '' : ` at frame ${frame}, cell ${cell}`
    output.line(`stop: ${causeText(cause)}${where}`)
    if (plan.onStop === 'end')
      throw new Problem('run-state', `the run is stopped by ${causeText(cause)}${where}; look, then clear it`)
    const asked =
      plan.onStop === 'ask'
        ? await ask('Look at the web. Then: (r)esume, or (s)kip the rest of these labels? [r/s]')
        : plan.onStop
    const after = asked.startsWith('s') ? 'skip-rest' : 'resume'
    const body = { by: plan.by, why: `looked at after the stop, then ${after}`, cause, after }
    await server.send('POST', `/runs/${encodeURIComponent(view.runId)}/clear`, body)
  }
}

async function prove(server: Server, view: RunView, plan: RollPlan): Promise<void> {
  const lanes = view.lanes.join(', ')
  const by =
    plan.provedBy ??
    (await ask(`Compare embellishment with code on lanes ${lanes} of a set-up label. Your name, when each is right:`))
  if (!by) throw new Problem('usage', 'proving needs a name')
  await server.send('POST', `/runs/${encodeURIComponent(view.runId)}/prove`, { by, lanes: view.lanes })
}

async function give(server: Server, runId: string, feed: Feed): Promise<void> {
  const at = `/runs/${encodeURIComponent(runId)}`
  if (feed.kind === 'reads') {
    await server.send<{ answers: Answer[] }>('POST', `${at}/frames`, feed.event)
    return
  }
  const target = `${at}/captures?frame=${feed.frame}&positionMm=${feed.positionMm}`
  await server.upload(target, { bytes: await feed.bytes(), mediaType: feed.mediaType })
}

/** Feeds all frames and waits until every label is answered. The run must be `ready`, or hold some of these frames already. */
export async function feedRoll(server: Server, runId: string, plan: RollPlan, output: Output): Promise<RunView> {
  let view = await viewOf(server, runId)
  if (view.state === 'ready') await server.send('POST', `/runs/${encodeURIComponent(runId)}/proving`, { by: plan.by })
  const rest = plan.feeds.filter((feed) => frameOf(feed) > view.lastFrame)
  for (const [i, feed] of rest.entries()) {
    await give(server, runId, feed)
    view = await settle(server, runId, plan.pendingMax)
    const done = plan.feeds.length - rest.length + i + 1
    if (view.state === 'proving' && done >= plan.setupFrames) {
      view = await settle(server, runId, 0)
      await clearStops(server, view, plan, output)
      await prove(server, view, plan)
    } else if (view.state === 'stopped') await clearStops(server, view, plan, output)
    output.progress.show(
      done / plan.feeds.length,
      `frame ${frameOf(feed)}: ${view.counts.lay} lay, ${view.counts.skip} skip, ${view.counts.stop} stop`,
    )
  }
  view = await settle(server, runId, 0)
  await clearStops(server, view, plan, output)
  output.progress.done()
  return viewOf(server, runId)
}
