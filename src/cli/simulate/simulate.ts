// A simulation, put together: what is published and stored makes the truth, the line drives it through a run, and the ledger is held
// against it.
import path from 'node:path'
import { Problem } from '../../kernel/problem.ts'
import { type LineProfile, layoutOf, type SequenceLayout, type Ticket } from '../../lines/index.ts'
import type { Output } from '../output.ts'
import type { OnStop } from '../run-roll.ts'
import type { RunView } from '../run-text.ts'
import type { Server } from '../server.ts'
import { codeSpots } from './code-spots.ts'
import { compare, pageCount } from './compare.ts'
import { openController } from './controller.ts'
import { type DriveNow, drive } from './drive.ts'
import { geometryOf, type LineGeometry } from './geometry.ts'
import { openHead } from './head.ts'
import { openLogbook } from './logbook.ts'
import { openMaterial } from './material.ts'
import { openMotion } from './motion.ts'
import { type Outcome, outcomeOf } from './outcome.ts'
import type { Pace } from './pace.ts'
import { openPeople } from './people.ts'
import type { JobView } from './published.ts'
import { openReading } from './reading.ts'
import { openRelay } from './relay.ts'
import type { Scenario } from './scenario.ts'
import { sequenceFile, sequenceOfTicket } from './sequence-truth.ts'
import { openStats } from './stats.ts'
import { openStretches } from './stretches.ts'
import { type Truth, type TruthParts, truthFromJobs, truthFromSequence } from './truth.ts'
import { openView, type View, type ViewParts } from './view.ts'

export interface SimulateOrder {
  readonly server: Server
  readonly scenario: Scenario
  /** Folder that files named in the scenario lie in. */
  readonly folder: string
  readonly runId: string
  readonly seed: number
  readonly pace: () => Pace
  /** Frames under way at most, flat out: 1 makes every simulation of a seed the same. */
  readonly windowFrames: number
  readonly by?: string | undefined
  readonly provedBy: string | undefined
  readonly onStop: OnStop
  readonly output: Output
  readonly screen: ViewParts['screen']
  readonly signal: AbortSignal
}

interface Ground {
  readonly view: RunView & { readonly ticket: string; readonly line: string }
  readonly ticket: Ticket
  readonly line: LineProfile
  readonly jobs: readonly JobView[]
  readonly geometry: LineGeometry
  readonly layout: SequenceLayout
}

const part = encodeURIComponent

/** For the first welcome. */
const welcomeWithinMs = 10_000

/** What the server knows of the run. Problem `run-state` for one that holds frames already. */
async function groundOf({ server, runId }: SimulateOrder): Promise<Ground> {
  const view = await server.get<Ground['view']>(`/runs/${part(runId)}`)
  if (view.lastFrame >= 0 || !['ready', 'proving', 'open'].includes(view.state))
    throw new Problem(
      'run-state',
      `run ${runId} is ${view.state} and holds ${view.counts.frames} frames; a simulation needs a fresh one`,
    )
  const { content: ticket } = await server.get<{ content: Ticket }>(`/tickets/${part(view.ticket)}`)
  const { content: line } = await server.get<{ content: LineProfile }>(`/lines/${part(view.line)}`)
  const jobs: JobView[] = []
  for (const { job } of ticket.jobs) jobs.push(await server.get<JobView>(`/jobs/${part(job)}`))
  const [first] = jobs
  if (!first) throw new Problem('scenario-truth', `ticket ${ticket.ticket} names no job`)
  const geometry = geometryOf(line, ticket, first)
  return {
    view,
    ticket,
    line,
    jobs,
    geometry,
    layout: layoutOf(
      first.frame,
      geometry.cells.map(({ cell }) => cell),
    ),
  }
}

async function truthOf({ server, scenario, seed, folder }: SimulateOrder, ground: Ground): Promise<Truth> {
  const { truth, troubles } = scenario
  const names = new Set(troubles.flatMap((trouble) => (trouble.kind === 'other-job' ? [trouble.job] : [])))
  const otherJobs: JobView[] = []
  for (const name of names) otherJobs.push(await server.get<JobView>(`/jobs/${part(name)}`))
  const parts: TruthParts = { scenario, seed, otherJobs, ...ground }
  if (truth.from === 'jobs') return truthFromJobs(parts, truth)
  const { layout, ticket } = ground
  const texts = truth.file
    ? await sequenceFile(path.resolve(folder, truth.file), layout)
    : await sequenceOfTicket(server, ticket, layout)
  return truthFromSequence(parts, texts)
}

const defaults = { accelerationMPerS2: 0.25, decelerationMPerS2: 0.8, reactionMs: 250 } as const

function rampsOf({ line: own }: Scenario, { line }: Ground) {
  return {
    accelerationMPerS2: own.accelerationMPerS2 ?? line.speed?.accelerationMPerS2 ?? defaults.accelerationMPerS2,
    decelerationMPerS2: own.decelerationMPerS2 ?? line.stopping?.decelerationMPerS2 ?? defaults.decelerationMPerS2,
    reactionMs: own.reactionMs ?? line.stopping?.reactionMs ?? defaults.reactionMs,
  }
}

/** The web, what the sensor says of it, and how it moves. */
async function openWeb(order: SimulateOrder, ground: Ground) {
  const { scenario, seed } = order
  const { geometry, layout } = ground
  const lanes = new Map(geometry.cells.map(({ cell, lane }) => [cell, lane]))
  const spots = codeSpots(layout, (cell) => lanes.get(cell) ?? 1)
  const truth = await truthOf(order, ground)
  const material = openMaterial({ scenario, seed, truth, pitchMm: geometry.pitchMm, spots })
  const reading = openReading({ scenario, seed, truth, material, spots })
  const { reactionMs, ...ramps } = rampsOf(scenario, ground)
  // The web begins a little before its first mark.
  const motion = openMotion(Math.max(0, material.markMm(0) - geometry.pitchMm), ramps)
  return { material, reading, motion, reactionMs, laidAt: openStretches(scenario, seed, ['laid']) }
}

const needsRelay = ({ troubles }: Scenario): boolean =>
  troubles.some(({ kind }) => kind === 'reconnect' || kind === 'controller-dies')

/** Runs a scenario on a fresh run of the server, to the comparison of truth and ledger. */
export async function simulate(order: SimulateOrder): Promise<Outcome> {
  const { server, scenario, runId, seed, by } = order
  const ground = await groundOf(order)
  const web = await openWeb(order, ground)
  const at = `/runs/${part(runId)}`
  if (ground.view.state === 'ready') await server.send('POST', `${at}/proving`, { by })
  const startedMs = performance.now()
  const line = await openLineOn(order, ground, web)
  try {
    const ended = await line.run()
    const { book, stats, last } = line
    const seconds = (performance.now() - startedMs) / 1_000
    const compared = await compare(
      {
        book,
        geometry: ground.geometry,
        material: web.material,
        isPlanted: (place, cell) => web.reading.isPlanted(place, cell) || web.laidAt(place, cell)?.laid === 'none',
        pageAfter: (after) => server.get(`${at}/answers?after=${after}&limit=${pageCount}`),
      },
      last().place - 1,
    )
    const named = { runId, title: scenario.title, seed, ended, frames: book.frames, places: last().place, seconds }
    return outcomeOf({ ...named, stats, compared, isTimed: line.isTimed })
  } finally {
    await line.close()
  }
}

type Web = Awaited<ReturnType<typeof openWeb>>

/** The controller on the run's line, with the heads that it drives and the book of both. */
async function openControls(order: SimulateOrder, { geometry }: Ground, web: Web) {
  const { server, scenario, runId } = order
  const relay = needsRelay(scenario) ? await openRelay(server.url) : undefined
  const book = openLogbook(geometry.cells.length)
  const stats = openStats()
  const ordinals = new Map(geometry.cells.map(({ cell }, ordinal) => [cell, ordinal]))
  const ordinalOf = (cell: number): number => ordinals.get(cell) ?? 0
  const pace = order.pace()
  const step: { now: DriveNow } = { now: { lineMs: 0, positionMm: 0, mPerMin: 0, place: 0, frame: 0 } }
  const plantedAt = (frame: number, cell: number) =>
    book.isFirstOf(frame) ? web.laidAt(book.placeOf(frame), cell)?.laid : undefined
  const head = openHead({ geometry, book, ordinalOf, plantedAt })
  const controller = openController({
    url: server.url,
    key: server.key,
    runId,
    relay,
    book,
    stats,
    cellCount: geometry.cells.length,
    ordinalOf,
    positionMm: () => web.motion.at(pace.nowMs() ?? step.now.lineMs).positionMm,
    onDue: (due) => head.due(due),
  })
  return { relay, book, stats, pace, step, head, controller }
}

type Controls = Awaited<ReturnType<typeof openControls>>

function viewOf(
  { scenario, runId, seed, screen, output }: SimulateOrder,
  controls: Controls,
  state: () => string,
): View {
  return openView({
    title: scenario.title,
    runId,
    seed,
    places: scenario.roll.frames,
    isTimed: controls.pace.kind === 'timed',
    stats: controls.stats,
    state,
    screen,
    line: output.json ? undefined : (text) => void process.stderr.write(`${text}\n`),
    nowMs: () => performance.now(),
  })
}

// Controller, heads, people and the view of them, around one roll.
async function openLineOn(order: SimulateOrder, ground: Ground, web: Web) {
  const { server, scenario, runId } = order
  const controls = await openControls(order, ground, web)
  const { controller, stats, pace, step, relay, head, book } = controls
  const state = (): string => controller.state?.state ?? ground.view.state
  const view = viewOf(order, controls, state)
  const people = openPeople({
    ...order,
    setUpFrames: scenario.roll.setUpFrames,
    proving: ground.view.state !== 'open',
    onAttend: () => view.done(),
    onStopped: (flag) => stats.stops.push(flag),
    heard: (name) => controller.until(() => !controller.alive || state() === name, 10_000),
  })
  const reportSplice = async (splice: { positionMm: number; frames: number }): Promise<void> => {
    await server.send('POST', `/runs/${part(runId)}/material`, { event: 'splice', ...splice, note: 'simulated' })
  }
  const onStep = (now: DriveNow): void => {
    step.now = now
    view.show(now)
  }
  const parts = {
    ...order,
    ...web,
    geometry: ground.geometry,
    pace,
    controller,
    head,
    book,
    people,
    reportSplice,
    onStep,
  }
  return {
    book,
    stats,
    isTimed: pace.kind === 'timed',
    last: () => step.now,
    async run() {
      try {
        const isOpen = await controller.until(() => controller.state !== undefined, welcomeWithinMs)
        if (!isOpen)
          throw new Problem('server-unreachable', `the line of run ${runId} does not open: ${controller.lastReason}`)
        return await drive(parts)
      } finally {
        view.done()
        await controller.close()
      }
    },
    async close() {
      await relay?.close()
    },
  }
}
