// Routes of rolls across their passes.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import { acrossPasses, rollsOf } from '../runs/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const count = z.int().min(0)
const labelCount = {
  labels: count.meta({ description: 'The sum of the seven that follow' }),
  complete: count.meta({ description: 'Laid in every pass that their version has layers in' }),
  partly: count.meta({ description: 'Laid in one pass, skipped in another' }),
  toCome: count.meta({ description: 'Laid where they were seen, but not seen in another pass' }),
  never: count.meta({ description: 'Laid in no pass' }),
  setUp: count.meta({ description: 'Laid as set-up: waste' }),
  cutOut: count.meta({ description: 'Taken out of the web after a pass: they come no more' }),
  unclear: count.meta({
    description: 'Reported part or unknown, two versions on one label, or one serial on two labels',
  }),
}

const examples = z.array(z.object({ serial: z.string(), cell: z.int().optional() }))
const versionAcross = z.object({
  job: z.string(),
  design: z.string(),
  version: z.int().optional(),
  layerPasses: z.array(z.int()).meta({ description: 'Passes that the version has layers in' }),
  ...labelCount,
  byPass: z.array(
    z
      .object({ pass: z.int(), laid: count, skipped: count, setUp: count, unclear: count, notSeen: count })
      .meta({ description: 'Sums to the labels of the version' }),
  ),
  examples: z.object({
    partly: examples.optional(),
    toCome: examples.optional(),
    never: examples.optional(),
    setUp: examples.optional(),
    cutOut: examples.optional(),
    unclear: examples.optional(),
  }),
})

const runOver = z.object({
  runId: z.string(),
  pass: z.int(),
  ticket: z.string(),
  line: z.string(),
  state: z.string(),
  createdAtMs: z.int(),
  rolls: z.array(z.string()).meta({ description: 'Of its tickets, in order' }),
  labels: count.meta({ description: 'Labels of the material that it answered' }),
  untied: count.meta({ description: 'Of these, labels that no serial ties to another pass' }),
  ofRoll: count.meta({ description: 'Of these, labels of the roll in question' }),
})

const unreadable = z
  .array(z.object({ runId: z.string(), detail: z.string() }))
  .meta({ description: 'Runs that could not be looked at' })

const rollSchema = z
  .object({
    roll: z.string(),
    passes: z.array(z.int()),
    runs: z.array(runOver),
    versions: z.array(versionAcross),
    total: z.object(labelCount),
    unreadable,
  })
  .meta({ id: 'RollAcrossPasses' })

const rollsSchema = z.object({
  rolls: z.array(
    z.object({
      roll: z.string(),
      passes: z.array(z.int()),
      runs: z.array(z.string()).meta({ description: 'Oldest first' }),
      lastAtMs: z.int().meta({ description: 'When the last of them was opened' }),
    }),
  ),
  unreadable,
})

export const rollRoutes = ({ runs, catalogue }: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/rolls',
    tag: 'rolls',
    // Not for a line's key: a roll may have run on other lines.
    roles: ['prepress', 'qa', 'admin'],
    summary: 'The rolls that runs passed over, the last one first',
    returns: [{ status: 200, description: 'Rolls', schema: rollsSchema }],
    problems: [],
    async handle() {
      const all = await runs.passRuns()
      return { json: { rolls: rollsOf(all.runs), unreadable: all.unreadable } }
    },
  }),
  route({
    method: 'get',
    path: '/rolls/:roll',
    tag: 'rolls',
    roles: ['prepress', 'qa', 'admin'],
    summary: 'A roll across its passes: its runs, and how many labels of each version are complete',
    params: z.object({ roll: z.string().max(200) }),
    returns: [{ status: 200, description: 'The roll', schema: rollSchema }],
    problems: ['not-found'],
    async handle({ params: { roll } }) {
      const all = await runs.passRuns()
      if (!all.runs.some(({ rolls }) => rolls.includes(roll)))
        throw new Problem('not-found', `no run passed over roll ${roll}`, { measured: roll })
      const found = await acrossPasses(roll, { runs: all.runs, catalogue: catalogue.current() })
      return { json: { ...found, unreadable: all.unreadable } }
    },
  }),
]
