// Feeding a roll through a run: set-up and proving first, then frames in order, with a person asked at every stop.
import { createInterface } from 'node:readline/promises'
import { setTimeout as pause } from 'node:timers/promises'
import { Problem } from '../kernel/problem.ts'
import type { Answer } from '../runs/index.ts'
import { type Feed, frameOf } from './feed.ts'
import type { Output } from './output.ts'
import { causeText, type RunView } from './run-text.ts'
import type { Server } from './server.ts'

export type OnStop = 'ask' | 'skip-rest' | 'resume' | 'end'

export interface RollPlan {
  readonly feeds: readonly Feed[]
  /** Absent with a personal key. */
  readonly by?: string | undefined
  /** Frames fed before proving is asked for. */
  readonly setupFrames: number
  /** Who compares embellishment with code; asked for on a terminal where absent. */
  readonly provedBy: string | undefined
  readonly onStop: OnStop
  /** Pictures under way at most. */
  readonly pendingMax: number
}

/** One line from a person at the terminal. Problem `usage` where nobody is there; an `AbortError` on Ctrl-C. */
async function ask(question: string): Promise<string> {
  if (!process.stdin.isTTY) throw new Problem('usage', `nobody is here to answer: ${question}`)
  const terminal = createInterface({ input: process.stdin, output: process.stderr })
  const left = new Promise<never>((_resolve, reject) => {
    terminal.once('SIGINT', () => reject(new DOMException('interrupted', 'AbortError')))
    terminal.once('close', () => reject(new Problem('usage', 'no answer was given')))
  })
  try {
    return (await Promise.race([terminal.question(`${question} `), left])).trim()
  } catch (error) {
    process.stderr.write('\n')
    throw error
  } finally {
    terminal.close()
  }
}

async function askFor<T>(question: string, meaning: (answer: string) => T | undefined): Promise<T> {
  for (;;) {
    const meant = meaning(await ask(question))
    if (meant !== undefined) return meant
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

const meanings: Readonly<Record<string, 'resume' | 'skip-rest'>> = {
  r: 'resume',
  resume: 'resume',
  s: 'skip-rest',
  skip: 'skip-rest',
}

/** Clears every open stop as it is said. Problem `run-state` where nobody does. */
export async function clearStops(
  server: Server,
  view: RunView,
  plan: Pick<RollPlan, 'by' | 'onStop'>,
  output: Output,
): Promise<void> {
  for (const { cause, frame, cell } of view.causes.filter((row) => row.status === 'open')) {
    const where = frame === undefined ? '' : ` at frame ${frame}, cell ${cell}`
    output.line(`stop: ${causeText(cause)}${where}`)
    if (plan.onStop === 'end' || (plan.onStop === 'ask' && !process.stdin.isTTY))
      throw new Problem('run-state', `the run is stopped by ${causeText(cause)}${where}; look, then clear it`)
    output.progress.done()
    const question = 'Look at the web. Then: (r)esume, or (s)kip the rest of these labels? [r/s]'
    const after =
      plan.onStop === 'ask' ? await askFor(question, (answer) => meanings[answer.toLowerCase()]) : plan.onStop
    const body = { by: plan.by, why: `looked at after the stop, then ${after}`, cause, after }
    await server.send('POST', `/runs/${encodeURIComponent(view.runId)}/clear`, body)
  }
}

/** Ends proving in the name of who compared every lane. */
export async function prove(
  server: Server,
  view: RunView,
  plan: Pick<RollPlan, 'provedBy'>,
  output: Output,
): Promise<void> {
  output.progress.done()
  const lanes = view.lanes.join(', ')
  const question = `Compare embellishment with code on lanes ${lanes} of a set-up label. Your name, when each is right:`
  const by = plan.provedBy ?? (await askFor(question, (answer) => answer || undefined))
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

// What a person has to do before the next frame: clear stops, prove the set-up.
async function attend(
  server: Server,
  view: RunView,
  at: { plan: RollPlan; given: number },
  output: Output,
): Promise<void> {
  const { plan, given } = at
  const isAgain = view.proving?.again !== undefined
  if (view.state === 'stopped' || isAgain) await clearStops(server, view, plan, output)
  if (view.state === 'proving' && (isAgain ? isProvable(view, plan) : given >= plan.setupFrames)) {
    const settled = await settle(server, view.runId, 0)
    await clearStops(server, settled, plan, output)
    await prove(server, settled, plan, output)
  }
}

// Asked for again on the way, as after a slipped count, set-up begins anew.
export const isProvable = (
  { proving, pending, lanes, provableLanes }: RunView,
  plan: Pick<RollPlan, 'setupFrames'>,
): boolean =>
  (proving?.frames ?? 0) + pending >= plan.setupFrames && lanes.every((lane) => provableLanes.includes(lane))

/**
 * Feeds all frames and waits until every label is answered. The run must be `ready`, or hold some of these frames already: those are
 * passed over.
 */
export async function feedRoll(server: Server, runId: string, plan: RollPlan, output: Output): Promise<RunView> {
  let view = await viewOf(server, runId)
  const rest = plan.feeds.filter((feed) => frameOf(feed) > view.lastFrame)
  let given = plan.feeds.length - rest.length
  if (view.state === 'ready') await server.send('POST', `/runs/${encodeURIComponent(runId)}/proving`, { by: plan.by })
  else await attend(server, view, { plan, given }, output)
  for (const feed of rest) {
    await give(server, runId, feed)
    given += 1
    view = await settle(server, runId, plan.pendingMax)
    await attend(server, view, { plan, given }, output)
    output.progress.show(
      given / plan.feeds.length,
      `frame ${frameOf(feed)}: ${view.counts.lay} lay, ${view.counts.skip} skip, ${view.counts.stop} stop`,
    )
  }
  view = await settle(server, runId, 0)
  await clearStops(server, view, plan, output)
  output.progress.done()
  return viewOf(server, runId)
}
