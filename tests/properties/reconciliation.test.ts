// Reconciliation of made-up runs: whatever is answered, revoked, reported, cut out and backed up, every label is in one class, and the
// classes sum to what came in. A plain reading of the rules, label by label, says which class.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Entry, EntryDraft } from '../../src/ledger/index.ts'
import { windUp } from '../../src/runs/finished-rolls.ts'
import { WebFold } from '../../src/runs/record/fold.ts'
import type { LabelClass } from '../../src/runs/record/label-table.ts'
import { reconcile, type Tally } from '../../src/runs/record/reconciliation.ts'

const pitchUm = 60_000
const cells = [
  { cell: 1, lane: 1 },
  { cell: 2, lane: 1 },
  { cell: 3, lane: 2 },
]

interface Sighting {
  readonly place: number
  readonly setUp: boolean
  readonly cells: readonly {
    readonly decision: 'lay' | 'skip' | 'stop'
    readonly revoked: boolean
    readonly report: 'full' | 'part' | 'none' | 'unknown' | undefined
    readonly named: boolean
  }[]
}

const label = fc.record({
  decision: fc.constantFrom('lay' as const, 'lay' as const, 'skip' as const, 'stop' as const),
  revoked: fc.boolean(),
  report: fc.constantFrom('full' as const, 'part' as const, 'none' as const, 'unknown' as const, undefined),
  named: fc.boolean(),
})

// Each step goes back a few places or on by one or two; what is passed over is seen by nobody.
const run = fc
  .array(
    fc.record({
      step: fc.constantFrom(1, 1, 1, 1, 2, -1, -2),
      setUp: fc.boolean(),
      answered: fc.boolean(),
      cells: fc.array(label, { minLength: 3, maxLength: 3 }),
    }),
    { minLength: 1, maxLength: 40 },
  )
  .map((steps) => {
    let place = 0
    return steps.map(({ step, setUp, answered, cells: given }, i): Sighting => {
      place = i === 0 ? 0 : Math.max(0, place + step)
      return { place, setUp, cells: answered || i % 5 ? given : [] }
    })
  })

const cuts = fc.array(fc.record({ at: fc.integer({ min: 0, max: 50 }), long: fc.integer({ min: 1, max: 4 }) }), {
  maxLength: 2,
})

/** The ledger of the sightings, as far as a fold looks at it. */
function foldOf(sightings: readonly Sighting[], cutOuts: readonly { at: number; long: number }[]): WebFold {
  const frames = new Map<number, { place: number; answersAt?: number }>()
  const fold = new WebFold({ pitchUm, cells, frameKnown: (frame) => frames.get(frame) })
  let index = 0
  const take = (draft: EntryDraft): number => {
    fold.take({ v: 1, index, atMs: 0, epoch: 1, salt: '', ...draft } as Entry)
    return index++
  }
  take({ type: 'step', body: { to: 'ready', by: 'x', ticket: JSON.stringify({ ticket: 'T', roll: 'R', pass: 1 }) } })
  sightings.forEach(({ place, setUp, cells: labels }, frame) => {
    frames.set(frame, { place })
    take({ type: 'frame', body: { frame, place, positionUm: place * pitchUm } })
    const answers = labels.map(({ decision, named }, i) => {
      const identity = named ? { identity: { job: 'J', design: i === 2 ? 'B' : 'A', text: 'c', version: 1 } } : {}
      const at = { frame, place, cell: i + 1, rotateDeg: 0 as const, noReturnUm: 0, flags: [], layers: [] }
      return take({ type: 'answer', body: { ...at, decision, ...identity, ...(setUp ? { setup: 1 as const } : {}) } })
    })
    if (answers[0] !== undefined) frames.set(frame, { place, answersAt: answers[0] })
    labels.forEach(({ decision, revoked, report }, i) => {
      const at = { frame, cell: i + 1 }
      if (revoked && decision === 'lay')
        take({ type: 'revocation', body: { ...at, answer: answers[i]!, flag: 'withdrawn' } })
      if (report) take({ type: 'laid', body: { ...at, laid: report } })
    })
  })
  for (const { at, long } of cutOuts) {
    const body = { event: 'cut-out' as const, positionUm: at * pitchUm, toPositionUm: (at + long) * pitchUm }
    take({ type: 'material', body })
  }
  return fold
}

/** The class of a label by the rules as they are told to people. */
function classBy(history: readonly { setUp: boolean; label: Sighting['cells'][number] }[], isCut: boolean): LabelClass {
  let stands: { setUp: boolean } | undefined
  let spoiled = false
  let properSkip = false
  for (const { setUp, label: seen } of history) {
    const isLay = seen.decision === 'lay' && stands === undefined
    const isLaid = isLay && !seen.revoked
    if (seen.report === 'part' || seen.report === 'unknown') spoiled = true
    if (seen.report === 'full' && !isLaid) spoiled = true
    if (isLaid && seen.report !== 'none') stands = { setUp }
    else if (stands === undefined) properSkip = isLay ? !setUp : properSkip || !setUp
  }
  if (history.length > 0 && (stands ? stands.setUp : !properSkip)) return 'set-up'
  if (isCut || spoiled) return 'spoiled'
  if (history.length === 0) return 'unaccounted'
  return stands ? 'laid' : 'skipped'
}

const sum = (tallies: readonly Tally[], of: keyof Tally): number => tallies.reduce((all, tally) => all + tally[of], 0)
const parts = ['in', 'laid', 'skipped', 'setUp', 'spoiled', 'unaccounted'] as const
const names = {
  laid: 'laid',
  skipped: 'skipped',
  'set-up': 'setUp',
  spoiled: 'spoiled',
  unaccounted: 'unaccounted',
} as const

describe('reconciliation of any run', () => {
  it('puts every label into exactly one class, and sums to what came in', () => {
    fc.assert(
      fc.property(run, cuts, (sightings, cutOuts) => {
        const fold = foldOf(sightings, cutOuts)
        const found = reconcile(fold, windUp(fold.web, { events: fold.material, lanes: [1, 2] }))
        const places = Math.max(...sightings.map(({ place }) => place)) + 1
        expect(found.run).toMatchObject({ in: places * 3, difference: 0 })
        for (const part of parts) {
          expect(sum([...found.rolls, found.cutOut, ...found.rests], part)).toBe(found.run[part])
          expect(sum(found.designs, part)).toBe(found.run[part])
        }
        expect(found.run.laid + found.run.skipped + found.run.setUp + found.run.spoiled + found.run.unaccounted).toBe(
          places * 3,
        )
      }),
      { numRuns: 300 },
    )
  })

  it('goes by the rules as they are told to people', () => {
    fc.assert(
      fc.property(run, cuts, (sightings, cutOuts) => {
        const fold = foldOf(sightings, cutOuts)
        const { run: found } = reconcile(fold, windUp(fold.web, { events: fold.material, lanes: [1, 2] }))
        const counts: Record<string, number> = { laid: 0, skipped: 0, setUp: 0, spoiled: 0, unaccounted: 0 }
        const places = Math.max(...sightings.map(({ place }) => place)) + 1
        for (let place = 0; place < places; place++) {
          const isCut = cutOuts.some(({ at, long }) => place >= at && place < at + long)
          for (const ordinal of cells.keys()) {
            const history = sightings
              .filter((sighting) => sighting.place === place && sighting.cells.length > 0)
              .map(({ setUp, cells: labels }) => ({ setUp, label: labels[ordinal]! }))
            counts[names[classBy(history, isCut)]]!++
          }
        }
        expect(found).toMatchObject(counts)
      }),
      { numRuns: 300 },
    )
  })
})
