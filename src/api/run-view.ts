// A run as people and controllers see it.
import * as z from 'zod'
import { causeSchema, type Run, toMm } from '../runs/index.ts'

export const runViewSchema = z
  .object({
    runId: z.string(),
    state: z.enum(['ready', 'proving', 'open', 'stopped', 'closing', 'sealed', 'aborted']),
    ticket: z.string(),
    roll: z.string(),
    line: z.string(),
    pass: z.int(),
    jobs: z.array(z.string()),
    lanes: z.array(z.int()),
    openedAtMs: z.int(),
    lastFrame: z.int().meta({ description: '−1 before the first' }),
    positionMm: z.number(),
    pending: z.int().meta({ description: 'Frames without answers' }),
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
    provableLanes: z.array(z.int()).meta({ description: 'Lanes with a set-up label laid since proving began' }),
  })
  .meta({ id: 'RunView' })

export function runView({ state }: Run): z.infer<typeof runViewSchema> {
  return {
    runId: state.runId,
    state: state.name,
    ticket: state.ticket.ticket,
    roll: state.ticket.roll,
    line: state.line.line,
    pass: state.ticket.pass,
    jobs: state.frozen.jobs.map((job) => job.job),
    lanes: [...new Set(state.cells.map((cell) => cell.lane))].toSorted((a, b) => a - b),
    openedAtMs: state.openedAtMs,
    lastFrame: state.lastFrame,
    positionMm: toMm(state.lastPositionUm),
    pending: state.waiting.size,
    counts: { ...state.counts, flags: state.counts.flags as Record<string, number> },
    examples: state.examples as Record<string, { frame: number; cell: number; index: number }>,
    causes: [...state.causes.all()],
    provableLanes: [...state.provable].toSorted((a, b) => a - b),
  }
}
