// Frame events, pictures, reports and acts sent to a run in any order, over a real database.
import type * as z from 'zod'
import { canonicalText, sha256, sha256Hex } from '../../../src/kernel/bytes.ts'
import { systemClock } from '../../../src/kernel/clock.ts'
import { storedLines, verifyLedger } from '../../../src/ledger/index.ts'
import { putTicket } from '../../../src/lines/index.ts'
import {
  actSchema,
  changeTicketSchema,
  clearSchema,
  type FrameEvent,
  type FramesOutcome,
  frameEventsSchema,
  laidReportsSchema,
  materialSchema,
  proveSchema,
  type Run,
  reasonedActSchema,
  toFrameReads,
  toMaterial,
} from '../../../src/runs/index.ts'
import { type Bench, openBench, pitchMm, publishedJobs, ticket } from '../../fixtures/runs.ts'
import { type FrameNumber, type Position, type RunCommand, runCommands } from '../arbitraries/run-commands.ts'
import { answerOf, holds } from '../judge.ts'
import { type AnswerBook, judgeLays, judgePage, openAnswerBook } from '../run-judge.ts'
import { defineTarget } from '../target.ts'

interface Scene {
  readonly bench: Bench
  readonly book: AnswerBook
  run: Run
  lays: number
  /** Events that were taken, request by request. */
  readonly taken: FrameEvent[][]
}

const lastFrame = ({ run }: Scene): number => run.state.lastFrame

function frameOf(scene: Scene, at: FrameNumber): number {
  if (at.by === 'value') return at.value
  return at.by === 'step' ? lastFrame(scene) + at.step : lastFrame(scene) - at.back
}

function positionOf(scene: Scene, frame: number, at: Position): number {
  const lastMm = scene.run.state.lastPositionUm / 1000
  if (at.by === 'value') return at.value
  if (at.by === 'natural') return frame * pitchMm + at.offMm
  const known = scene.run.state.frames.get(frame)
  if (at.by === 'same') return known ? known.positionUm / 1000 : lastMm
  return lastMm + at.mm
}

/** What the wire refuses, as a route refuses it. */
class OffTheWire extends Error {}

function onTheWire<S extends z.ZodType>(schema: S, value: unknown): z.output<S> {
  // As JSON carries it: NaN and infinities become null.
  const parsed = schema.safeParse(JSON.parse(JSON.stringify(value)))
  if (!parsed.success) throw new OffTheWire()
  return parsed.data
}

const definite = <T extends object>(value: T): never =>
  Object.fromEntries(Object.entries(value).filter(([, part]) => part !== undefined)) as never

async function sendFrames(scene: Scene, command: Extract<RunCommand, { do: 'frames' }>): Promise<void> {
  let behind = lastFrame(scene)
  const events = command.frames.map(({ frame: at, position, reads, more }) => {
    const frame = at.by === 'step' ? behind + at.step : frameOf(scene, at)
    behind = Math.max(behind, frame)
    return { frame, positionMm: positionOf(scene, frame, position), reads, ...more }
  })
  const given = onTheWire(frameEventsSchema, events.length === 1 ? events[0] : events)
  const list = Array.isArray(given) ? given : [given]
  const { run, book } = scene
  const keep = ({ answers }: FramesOutcome): void => book.keep(answers)
  if (!command.twice) {
    keep(await run.frames(list))
    scene.taken.push(list)
    return
  }
  // A retry that overtakes its first try.
  const both = await Promise.allSettled([run.frames(list), run.frames(list)])
  for (const one of both) if (one.status === 'fulfilled') keep(one.value)
  for (const one of both) if (one.status === 'rejected') throw one.reason
}

async function withdraw(
  { bench, run }: Scene,
  { design, version }: { design: string; version: number },
): Promise<void> {
  const recalled = { job: 'J', design, version }
  const jobs = [...bench.catalogue.current().jobs.values()].map((job) => ({
    ...job,
    designs: new Map(
      [...job.designs].map(([name, versions]) => [
        name,
        versions.map((row) =>
          job.job === 'J' && name === design && row.version === version
            ? { ...row, state: 'withdrawn' as const, withdrawnAtMs: 2 }
            : row,
        ),
      ]),
    ),
  }))
  bench.catalogue.change(jobs, [{ ...recalled, by: 'lead', why: 'recalled' }])
  await bench.runs.recalled(recalled)
  holds(run.failed === undefined, 'a recall can be recorded')
}

async function perform(scene: Scene, command: RunCommand): Promise<void> {
  const { run, bench, book } = scene
  switch (command.do) {
    case 'frames':
      return sendFrames(scene, command)
    case 'again': {
      const list = scene.taken.at(-1 - command.back)
      if (list) book.keep((await run.frames(list)).answers)
      return
    }
    case 'back up': {
      const seen = scene.taken.flat().slice(-command.frames)
      const list = seen.map((event, i) => ({
        ...event,
        frame: lastFrame(scene) + 1 + i,
        positionMm: event.positionMm + command.offMm,
      }))
      if (list.length > 0) book.keep((await run.frames(list)).answers)
      return
    }
    case 'capture': {
      const frame = frameOf(scene, command.frame)
      const wire = { frame, positionMm: positionOf(scene, frame, command.position), reads: [] }
      const event = onTheWire(frameEventsSchema, wire)
      if (Array.isArray(event)) return
      book.keep((await run.capture({ ...event, digest: sha256Hex(`picture ${command.digest}`) })).answers)
      return
    }
    case 'picture': {
      const waiting = [...run.state.waiting.keys()]
      const frame = waiting[command.back % Math.max(1, waiting.length)] ?? lastFrame(scene)
      const event = onTheWire(frameEventsSchema, { frame, positionMm: 0, reads: command.reads })
      if (!Array.isArray(event)) await run.pictureRead(frame, toFrameReads(event))
      return
    }
    case 'laid': {
      const reports = command.reports.map((report) => ({ ...report, frame: frameOf(scene, report.frame) }))
      const given = onTheWire(laidReportsSchema, reports)
      await run.laid(Array.isArray(given) ? given : [given])
      return
    }
    case 'material': {
      return run.material(toMaterial(onTheWire(materialSchema, command.body)))
    }
    case 'ticket':
      return bench.runs.changeTicket(run, definite(onTheWire(changeTicketSchema, command.body)))
    case 'prove':
      return run.prove(definite(onTheWire(proveSchema, command.body)))
    case 'clear': {
      const open = run.state.causes.opened()
      const cause = open[command.open % Math.max(1, open.length)]?.cause ?? { flag: 'withdrawn' }
      return run.clear(definite(onTheWire(clearSchema, { cause, ...command.body })))
    }
    case 'act': {
      if (command.act === 'abort') return run.abort(definite(onTheWire(reasonedActSchema, command.body)))
      const body = definite(onTheWire(actSchema, command.body))
      if (command.act === 'proving') return run.startProving(body)
      if (command.act === 'close') return run.close(body)
      await run.seal(body)
      return
    }
    case 'withdraw':
      return withdraw(scene, command)
    case 'condition':
      for (const layer of ['varnish', 'mask']) {
        for (const version of [1, 2]) {
          bench.conditions.set(sha256Hex(`${command.design}/${version}/${layer}`), command.condition)
        }
      }
      return bench.runs.sweepLayers()
    case 'poll': {
      const page = await run.answersAfter(command.after, command.count)
      judgePage(page, command.after)
      book.keep(page.answers)
      return
    }
    case 'restart':
      await bench.restart()
      scene.run = await bench.runs.get(run.runId)
  }
}

async function judgeWhole(scene: Scene): Promise<void> {
  const { bench, book, run } = scene
  for (let after = -1; ; ) {
    const page = await run.answersAfter(after, 4_096)
    judgePage(page, after)
    book.keep(page.answers)
    if (page.cursor === after) break
    after = page.cursor
  }
  const { database } = bench
  scene.lays = await judgeLays(database, run.runId)
  const heads = await database.ledgerHeads(run.runId)
  const result = await verifyLedger({
    lines: storedLines(database, run.runId),
    runId: run.runId,
    heads,
    sha256,
    answers: book.answers() as never,
  })
  holds(result.ok, `the ledger does not verify: ${JSON.stringify(result)}`)
}

/** What the run shows of itself; after a restart it must be the same. */
const shown = ({ state }: Run): string =>
  canonicalText([
    [state.name, state.counts, state.lastFrame, state.lastPositionUm, state.nextIndex, [...state.revoked]],
    [state.tickets.map(({ fromIndex, ticket: { ticket } }) => [fromIndex, ticket]), state.reels],
    [state.material, state.stretches],
    state.setUps.map(({ lanes, laid, ...section }) => [section, [...lanes], [...laid]]),
  ])

/** Of `openProved`. */
const setupLays = 2

export const runTarget = defineTarget({
  name: 'run-events',
  module: import.meta.url,
  about:
    'events, reports and acts of a run: answered or refused with a code; the ledger verifies, no answer changes, no label is laid twice',
  bounds: { caseCpuMsMax: 6_000, growthMiBMax: 256 },
  cases: { short: 30, long: 300 },
  arbitrary: runCommands,
  meets: ['lays, then taken'],
  async open() {
    return {
      async run(commands) {
        const bench = await openBench(publishedJobs())
        try {
          const stored = { database: bench.database, clock: systemClock }
          await putTicket(stored, ticket({ ticket: 'T2', jobs: [{ job: 'J' }, { job: 'K' }] }))
          await putTicket(stored, ticket({ ticket: 'T3', cells: [1] }))
          const scene: Scene = { bench, book: openAnswerBook(), run: await bench.openProved(), lays: 0, taken: [] }
          const answers: string[] = []
          for (const command of commands) {
            const answer = await answerOf(() => perform(scene, command)).catch((error: unknown) => {
              if (error instanceof OffTheWire) return 'off the wire'
              throw error
            })
            holds(answer !== 'ledger-unavailable' && answer !== 'ledger-bad', `a sound disk, and yet ${answer}`)
            answers.push(answer)
          }
          await judgeWhole(scene)
          const before = shown(scene.run)
          await bench.restart()
          scene.run = await bench.runs.get(scene.run.runId)
          const after = shown(scene.run)
          holds(before === after, `a restart changed the run: ${before} to ${after}`)
          await judgeWhole(scene)
          const last = answers.at(-1) ?? 'taken'
          return scene.lays > setupLays ? `lays, then ${last}` : last
        } finally {
          await bench.close()
        }
      },
      close: async () => undefined,
    }
  },
})
