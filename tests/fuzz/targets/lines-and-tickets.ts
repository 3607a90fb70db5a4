// line.json and ticket JSON: refused with every finding, or good for storing, freezing, readiness and a run.
import { readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { demoFolder } from '../../../demo-jobs/folders.ts'
import { systemClock } from '../../../src/kernel/clock.ts'
import { parseLine, parseTicket, putLine, putTicket } from '../../../src/lines/index.ts'
import { type Bench, code, event, line, openBench, ticket } from '../../fixtures/runs.ts'
import { jsonCases, spellJson } from '../arbitraries/json-edits.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const words = [
  'rollcall.line/1',
  'rollcall.ticket/1',
  'inkjet',
  'foil',
  'flexo',
  'no-read',
  'withdrawn',
  'lay',
  'skip',
  'stop',
  'J',
  'K',
  'T1',
  'L1',
  'gold',
  'top',
  'bottom',
  'pp-white',
  1_000_000,
  100_000,
  true,
]

// Lines need a stopAfter and a camera to be changed, tickets pins.
const lines = [
  line,
  {
    ...line,
    camera: { pxPerMm: 20, leftMm: 0, topMm: -1 },
    lowQualityBelow: 0.25,
    policy: {
      'no-read': { decision: 'stop', stopAfter: { count: 2, within: 5 } },
      'low-quality': { decision: 'skip' },
    },
  },
]
const tickets = [
  ticket(),
  ticket({
    jobs: [{ job: 'J', packages: [1], pins: [{ design: 'A', version: 1 }], printVersion: '02' }, { job: 'K' }],
  }),
  ticket({ leadEdge: 'bottom', expectedFrames: 100, thicknessMm: 0.1 }),
]

async function runOn(bench: Bench, names: { line: string; ticket: string }): Promise<string> {
  const order = { ...names, by: 'lead', override: true, why: 'tried' }
  const run = await bench.runs.open(order)
  await run.startProving({ by: 'lead' })
  const first = await run.frames([event(0, [code('A', 1), code('B', 2)]), event(1, [code('A', 3), null])])
  holds(first.answers.length === 4, 'every label of a frame is answered')
  const again = await run.frames([event(0, [code('A', 1), code('B', 2)])])
  holds(JSON.stringify(again.answers) === JSON.stringify(first.answers.slice(0, 2)), 'the same frame, the same answer')
  for (const { noReturnMm } of first.answers) holds(Number.isFinite(noReturnMm), 'a point of no return is a place')
  await run.material({ event: 're-thread' })
  await run.frames([event(2, [code('F', 4), code('K', 1)])])
  return 'runs'
}

export const linesTarget = defineTarget({
  name: 'lines-and-tickets',
  module: import.meta.url,
  about: 'line profiles and tickets: refused with findings, or stored, weighed and run without a surprise',
  bounds: { caseCpuMsMax: 3_000, growthMiBMax: 256 },
  cases: { short: 100, long: 1_200 },
  arbitrary: jsonCases(words),
  meets: ['runs', 'line-schema', 'ticket-schema'],
  async open() {
    const demoLine = JSON.parse(await readFile(join(demoFolder, 'line.json'), 'utf8')) as unknown
    const documents = [
      ...[...lines, demoLine].map((of) => ({ line: of, ticket: ticket() })),
      ...tickets.map((of) => ({ line, ticket: of })),
    ]
    return {
      async run(one) {
        const bytes = spellJson(one, documents).toString()
        let given: { line?: unknown; ticket?: unknown } | null
        try {
          given = JSON.parse(bytes)
        } catch {
          return 'not JSON'
        }
        // Refusals cost nothing; only what is taken needs a database.
        const parsed = await answerOf(() => {
          parseLine(given?.line)
          parseTicket(given?.ticket)
        })
        if (parsed !== 'taken') return parsed
        const bench = await openBench()
        try {
          return await answerOf(async () => {
            const store = { database: bench.database, clock: systemClock }
            const { content: ofLine } = await putLine(store, parseLine(given?.line))
            const { content: ofTicket } = await putTicket(store, parseTicket(given?.ticket))
            const names = { line: ofLine.line, ticket: ofTicket.ticket }
            await bench.runs.readiness(names)
            return runOn(bench, names)
          })
        } finally {
          await bench.close()
        }
      },
      close: async () => undefined,
    }
  },
})
