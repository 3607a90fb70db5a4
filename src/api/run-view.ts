// A run as people and controllers see it.
import * as z from 'zod'
import { provingReasons } from '../ledger/index.ts'
import { causeSchema, fromMaterial, noticeByStation, provingOf, type Run, toMm } from '../runs/index.ts'

export const runViewSchema = z
  .object({
    runId: z.string(),
    state: z.enum(['ready', 'proving', 'open', 'stopped', 'closing', 'sealed', 'aborted']),
    ticket: z.string(),
    tickets: z.array(z.string()).meta({ description: 'Those that the run went through; the last is `ticket`' }),
    roll: z.string(),
    line: z.string(),
    pass: z.int(),
    jobs: z.array(z.string()),
    lanes: z.array(z.int()),
    openedAtMs: z.int(),
    lastFrame: z.int().meta({ description: '−1 before the first' }),
    positionMm: z.number(),
    pending: z.int().meta({ description: 'Frames without answers' }),
    noReturnAfterMm: z
      .number()
      .meta({ description: "From a frame's position to the first point of no return of its labels" }),
    stations: z
      .array(
        z.object({
          station: z.string(),
          skips: z.boolean().meta({ description: 'Whether it can let single labels pass without' }),
          noReturnAfterMm: z
            .number()
            .meta({ description: "From a frame's position until it must know, with the layer at hand" }),
          fetchAfterMm: z.number().meta({ description: '… and until a layer that is not at hand must be fetched' }),
        }),
      )
      .meta({ description: 'In web order; the first that skips sets the points of no return' }),
    counts: z.object({
      frames: z.int(),
      labels: z.int(),
      lay: z.int(),
      skip: z.int(),
      stop: z.int(),
      setup: z.int(),
      revoked: z.int(),
      flags: z.record(z.string(), z.int()),
      laid: z.record(z.string(), z.int()),
    }),
    examples: z.record(z.string(), z.object({ frame: z.int(), cell: z.int(), index: z.int() })),
    causes: z.array(
      z.object({
        cause: causeSchema,
        status: z.enum(['open', 'skip-rest']),
        openedAt: z.int(),
        frame: z.int().optional(),
        cell: z.int().optional(),
      }),
    ),
    material: z
      .array(z.looseObject({ ledgerIndex: z.int(), event: z.string() }))
      .meta({ description: 'Events of the material that stand: none that was voided' }),
    reels: z.array(
      z.object({
        station: z.string(),
        foil: z.string(),
        leftMm: z.number().optional(),
        widthMm: z.number().optional(),
      }),
    ),
    provableLanes: z.array(z.int()).meta({ description: 'Lanes with a set-up label laid since proving began' }),
    proving: z
      .object({
        again: z.enum(provingReasons).optional(),
        why: z.string().optional(),
        sinceMs: z.int(),
        frames: z.int(),
      })
      .optional()
      .meta({ description: 'Why proving is asked for, since when, and the set-up frames since then' }),
  })
  .meta({ id: 'RunView' })

export function runView({ state }: Run): z.infer<typeof runViewSchema> {
  return {
    runId: state.runId,
    state: state.name,
    ticket: state.ticket.ticket,
    tickets: state.tickets.map(({ ticket }) => ticket.ticket),
    roll: state.ticket.roll,
    line: state.line.line,
    pass: state.ticket.pass,
    jobs: state.frozen.jobs.map((job) => job.job),
    lanes: [...new Set(state.cells.map((cell) => cell.lane))].toSorted((a, b) => a - b),
    openedAtMs: state.openedAtMs,
    lastFrame: state.lastFrame,
    positionMm: toMm(state.lastPositionUm),
    pending: state.waiting.size,
    noReturnAfterMm: toMm(state.soonestNoReturnUm),
    stations: noticeByStation(state.line, state.cells).map(({ station, skips, atHandUm, notAtHandUm }) => ({
      station,
      skips,
      noReturnAfterMm: toMm(atHandUm),
      fetchAfterMm: toMm(notAtHandUm),
    })),
    counts: { ...state.counts, flags: state.counts.flags as Record<string, number> },
    examples: state.examples as Record<string, { frame: number; cell: number; index: number }>,
    causes: [...state.causes.all()],
    material: state.material.map(({ index, body }) => ({ ledgerIndex: index, ...fromMaterial(body) })),
    reels: state.reels.map(({ station, foil, across }) => ({
      station,
      foil,
      ...(across ? { leftMm: toMm(across.leftUm), widthMm: toMm(across.widthUm) } : {}),
    })),
    ...provingOf(state),
  }
}
