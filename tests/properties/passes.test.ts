// Two passes over random rolls: whatever the first did with its labels, the second flags exactly those that plain bookkeeping says.
import fc from 'fast-check'
import { afterAll, beforeAll, expect, it } from 'vitest'
import type { LaidReport } from '../../src/runs/index.ts'
import { closeBench, openPass, openPassBench, sealRun } from '../fixtures/passes.ts'
import { type Bench, code, event } from '../fixtures/runs.ts'

let bench: Bench
beforeAll(async () => {
  bench = await openPassBench()
})
afterAll(() => closeBench(bench))

const prints = ['02', '03', '09'] as const
const versions = { '02': 1, '03': 2, '09': undefined }

interface Sighting {
  /** Absent: not read. */
  readonly serial?: number
  readonly print: (typeof prints)[number]
  readonly laid?: LaidReport['laid']
}

const sighting: fc.Arbitrary<Sighting> = fc.record(
  {
    serial: fc.nat(13),
    print: fc.constantFrom(...prints, '02', '02', '02'),
    laid: fc.constantFrom('full', 'full', 'full', 'none', 'part', 'unknown'),
  },
  { requiredKeys: ['print'] },
)
const pairs = fc.array(fc.tuple(sighting, sighting), { maxLength: 6 })
const firstRun = fc.record({ frames: pairs, roll: fc.constantFrom('R1', 'R1', 'R2'), sealed: fc.boolean() })
const secondPass = fc.array(fc.tuple(fc.nat(13), fc.constantFrom('02' as const, '03' as const)), {
  minLength: 4,
  maxLength: 14,
})

/** What one run did with a serial: the version laid, 0 for nothing, `twin` for nothing as a duplicate, undefined where no one can say. */
type Deed = number | 'twin' | undefined

interface Seen {
  readonly decision: string
  readonly isDuplicate: boolean
  readonly version: number | undefined
  readonly laid: Sighting['laid']
}

function deedOf(seen: readonly Seen[]): Deed {
  const [only, second] = seen
  if (!only || second) return undefined
  const nothing = only.isDuplicate ? 'twin' : 0
  if (only.decision !== 'lay') return only.laid === undefined || only.laid === 'none' ? nothing : undefined
  if (only.laid === 'none') return 0
  return only.laid === undefined || only.laid === 'full' ? only.version : undefined
}

function togetherOf(deeds: readonly { roll: string; deed: Deed }[]): Deed {
  if (deeds.some(({ deed }) => deed === undefined)) return undefined
  const laid = new Set(deeds.flatMap(({ deed }) => (deed && deed !== 'twin' ? [deed] : [])))
  if (laid.size === 0) return 0
  if (deeds.some(({ deed }) => deed === 'twin')) return undefined
  const oneRoll = new Set(deeds.map(({ roll }) => roll)).size === 1
  return oneRoll && laid.size === 1 ? [...laid][0] : undefined
}

let cases = 0

it('flags what was skipped, laid otherwise, never seen or can not be tied, and nothing else', async () => {
  await fc.assert(
    fc.asyncProperty(
      fc.array(firstRun, { maxLength: 3 }),
      secondPass,
      fc.boolean(),
      async (firsts, seconds, restart) => {
        // One house for all cases: each has serials and rolls of its own.
        const base = 100 * ++cases
        const text = (serial: number, print: string) => code('A', base + serial, print)
        const book = new Map<number, { roll: string; deed: Deed }[]>()
        const opened = []
        for (const { frames, roll, sealed } of firsts) {
          const run = await openPass(bench, 1, { roll: `${roll}-${base}` })
          const seen = new Map<number, Seen[]>()
          for (const [i, pair] of frames.entries()) {
            const texts = pair.map(({ serial, print }) => (serial === undefined ? null : text(serial, print)))
            const { answers } = await run.frames([event(i + 1, texts)])
            for (const [at, { serial, print, laid }] of pair.entries()) {
              if (laid) await run.laid([{ frame: i + 1, cell: at + 1, laid }])
              if (serial === undefined) continue
              const { decision = 'none', flags = [] } = answers[at] ?? {}
              const isDuplicate = flags.includes('duplicate')
              seen.set(serial, [...(seen.get(serial) ?? []), { decision, isDuplicate, version: versions[print], laid }])
            }
          }
          for (const [serial, sightings] of seen)
            book.set(serial, [...(book.get(serial) ?? []), { roll, deed: deedOf(sightings) }])
          if (sealed) await sealRun(run)
          else opened.push(run)
        }
        if (restart) await bench.restart()
        const second = await openPass(bench, 2, { roll: `R3-${base}` })
        for (const [i, [serial, print]] of seconds.entries()) {
          const { answers } = await second.frames([event(i + 1, [text(serial, print), null])])
          const deeds = book.get(serial)
          const agrees = deeds !== undefined && togetherOf(deeds) === versions[print]
          expect([serial, print, answers[0]?.flags.includes('pass-mismatch')]).toEqual([serial, print, !agrees])
        }
        for (const run of [second, ...opened])
          await (await bench.runs.get(run.runId)).abort({ by: 'lead', why: 'done' })
      },
    ),
    { numRuns: 20 },
  )
}, 120_000)
