// Events of the material: what a run takes, what it refuses, and what stands after one was voided.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type FoldedRun, foldedRun } from '../../tests/fixtures/folded-run.ts'
import { pitchMm } from '../../tests/fixtures/runs.ts'
import { Problem } from '../kernel/problem.ts'
import { finishedRolls } from './finished-names.ts'
import { checkMaterial } from './material.ts'
import type { MaterialBody } from './material-record.ts'

const pitchUm = pitchMm * 1000

/** Checks and takes up an event, as a run does. Returns its ledger index. */
const record = (run: FoldedRun, body: MaterialBody): number =>
  run.take({ type: 'material', body: checkMaterial(run.state, body) })

const codeOf = (work: () => unknown): string => {
  try {
    work()
  } catch (error) {
    if (error instanceof Problem) return error.code
    throw error
  }
  return 'taken'
}

/** Ten frames: marks at 0 to 9 pitches, web up to 10. */
function tenFrames(): FoldedRun {
  const run = foldedRun()
  run.take({ type: 'step', body: { to: 'proving', by: 'lead' } })
  run.frames(10)
  return run
}
const close = (run: FoldedRun): number => run.take({ type: 'step', body: { to: 'closing', by: 'lead' } })
const split = (roll: string, pitches: number): MaterialBody => ({
  event: 'split',
  roll,
  positionUm: Math.round(pitches * pitchUm),
})
const slit = (roll: string | undefined, laneRolls: Record<string, number[]>): MaterialBody => ({
  event: 'slit',
  ...(roll === undefined ? {} : { roll }),
  laneRolls: Object.entries(laneRolls).map(([name, lanes]) => ({ roll: name, lanes })),
})
const names = (run: FoldedRun): string[] => finishedRolls(run.state).map(({ name }) => name)

describe('splits', () => {
  it('leave no roll behind the last one where the rest of the unwound roll was not run', () => {
    const run = tenFrames()
    record(run, { event: 'partial', roll: 'REST', positionUm: 5 * pitchUm })
    record(run, split('A', 8))
    close(run)
    expect(names(run)).toEqual(['A'])
    expect(codeOf(() => record(run, { event: 'rewind', roll: 'R1-2' }))).toBe('roll-unknown')
  })

  it('leave one where web lies between the last one and the rest that was not run', () => {
    const run = tenFrames()
    record(run, split('A', 3))
    record(run, { event: 'partial', roll: 'REST', positionUm: 5 * pitchUm })
    close(run)
    expect(names(run)).toEqual(['A', 'R1-2'])
  })

  it('end finished rolls one behind the other; the rest is a roll of its own once the run is closed', () => {
    const run = tenFrames()
    record(run, split('A', 3))
    record(run, split('B', 6))
    expect(names(run)).toEqual(['A', 'B'])
    close(run)
    expect(names(run)).toEqual(['A', 'B', 'R1-3'])
  })

  it('leave no rest behind one that lies behind the middle of the last frame', () => {
    const run = tenFrames()
    close(run)
    expect(names(run)).toEqual(['R1'])
    record(run, split('A', 9.6))
    expect(names(run)).toEqual(['A'])
  })

  it.each([
    ['before what was run', split('A', -1), 'material-position'],
    ['behind what was run', split('A', 10.5), 'material-position'],
    ['at the end of the last frame', split('A', 10), 'taken'],
    ['at the split before', split('A', 3), 'material-position'],
    ['before the last split', split('A', 2), 'material-position'],
    ['under a name that is taken', split('X', 4), 'roll-name-taken'],
    ['under the name of the roll that was unwound', split('R1', 4), 'taken'],
    ['under the name that the rest would get', split('R1-3', 4), 'roll-name-taken'],
  ])('%s: %s', (_, body, expected) => {
    const run = tenFrames()
    record(run, split('X', 3))
    expect(codeOf(() => record(run, body))).toBe(expected)
  })

  it('are refused before the first frame', () => {
    expect(codeOf(() => record(foldedRun(), split('A', 0)))).toBe('material-position')
  })

  it('may lie at a position that comes again after a re-threading: the newest web counts', () => {
    const run = tenFrames()
    record(run, split('A', 8))
    record(run, { event: 're-thread' })
    run.take({ type: 'frame', body: { frame: 10, place: 10, positionUm: 0, reads: [] } })
    run.take({ type: 'frame', body: { frame: 11, place: 11, positionUm: pitchUm, reads: [] } })
    record(run, split('B', 1))
    expect(names(run)).toEqual(['A', 'B'])
    expect(codeOf(() => record(run, split('C', 9)))).toBe('material-position')
  })
})

describe('a slit', () => {
  it('names the one finished roll that there is, and parts it into lane rolls', () => {
    const run = tenFrames()
    record(run, split('A', 4))
    expect(checkMaterial(run.state, slit(undefined, { L: [1], M: [2] }))).toMatchObject({ roll: 'A' })
  })

  it.each([
    ['a lane that no roll has', slit('A', { L: [1] }), 'slit-lanes'],
    ['a lane twice', slit('A', { L: [1, 2], M: [2] }), 'slit-lanes'],
    ['a lane that the run does not have', slit('A', { L: [1], M: [2, 3] }), 'slit-lanes'],
    [
      'two lane rolls under one name',
      { ...slit('A', { L: [1] }), laneRolls: [1, 2].map((lane) => ({ roll: 'L', lanes: [lane] })) },
      'roll-name-taken',
    ],
    ['the name of the roll itself', slit('A', { A: [1], M: [2] }), 'roll-name-taken'],
    ['the name of the rest', slit('A', { 'R1-2': [1], M: [2] }), 'roll-name-taken'],
    ['a roll that is not there', slit('Z', { L: [1], M: [2] }), 'roll-unknown'],
    ['the rest while frames come', slit('R1-2', { L: [1], M: [2] }), 'roll-unknown'],
    ['every lane once', slit('A', { L: [2], M: [1] }), 'taken'],
  ])('with %s: %s', (_, body, expected) => {
    const run = tenFrames()
    record(run, split('A', 4))
    expect(codeOf(() => record(run, body))).toBe(expected)
  })

  it('comes once; afterwards lane rolls are rewound, and the roll is no more', () => {
    const run = tenFrames()
    record(run, split('A', 4))
    record(run, slit('A', { L: [1], M: [2] }))
    expect(codeOf(() => record(run, slit('A', { N: [1], O: [2] })))).toBe('roll-unknown')
    expect(codeOf(() => record(run, { event: 'rewind', roll: 'A' }))).toBe('roll-unknown')
    expect(codeOf(() => record(run, { event: 'rewind', roll: 'M' }))).toBe('taken')
  })

  it('of the rest keeps later splits from taking its name away', () => {
    const run = tenFrames()
    close(run)
    record(run, slit('R1', { L: [1], M: [2] }))
    expect(codeOf(() => record(run, split('A', 4)))).toBe('roll-name-taken')
  })
})

describe('a rest that was not run', () => {
  it('is named once, behind the last split, with a name of its own', () => {
    const run = tenFrames()
    record(run, split('A', 4))
    const partial = (roll: string, pitches: number): MaterialBody => ({ ...split(roll, pitches), event: 'partial' })
    expect(codeOf(() => record(run, partial('rest', 3)))).toBe('material-position')
    expect(codeOf(() => record(run, partial('A', 9)))).toBe('roll-name-taken')
    expect(codeOf(() => record(run, partial('R1-2', 9)))).toBe('roll-name-taken')
    record(run, partial('rest', 9))
    expect(codeOf(() => record(run, partial('other', 9)))).toBe('material-position')
  })
})

describe('a cut-out after laying', () => {
  const cut = (from: number, to: number): MaterialBody => ({
    event: 'cut-out',
    positionUm: from * pitchUm,
    toPositionUm: to * pitchUm,
  })
  it.each([
    ['touches another', cut(4, 5), 'taken'],
    ['overlaps another', cut(3, 5), 'cut-out-overlap'],
    ['lies within another', cut(2.5, 3), 'cut-out-overlap'],
    ['spans another', cut(1, 6), 'cut-out-overlap'],
    ['ends before it begins', cut(7, 6), 'material-position'],
    ['reaches beyond what was run', cut(8, 11), 'material-position'],
  ])('that %s: %s', (_, body, expected) => {
    const run = tenFrames()
    record(run, cut(2, 4))
    expect(codeOf(() => record(run, body))).toBe(expected)
  })

  it('changes no phase, as frames missing before the sensor do', () => {
    const offAfter = (body: MaterialBody): boolean => {
      const run = tenFrames()
      record(run, body)
      return run.state.tracker.locate(10.4 * pitchUm).offPhase
    }
    expect(offAfter(cut(2, 4))).toBe(true)
    expect(offAfter({ event: 'cut-out', frames: 2 })).toBe(false)
  })
})

describe('voiding', () => {
  it('takes an event back: it stands no more, and its name is free again', () => {
    const run = tenFrames()
    const wrong = record(run, split('A', 4))
    record(run, { event: 'void', voids: wrong })
    expect(names(run)).toEqual([])
    record(run, split('A', 3))
    expect(run.state.material.map(({ body }) => body.positionUm)).toEqual([3 * pitchUm])
  })

  it('is refused where a later event rests on it, until that is voided', () => {
    const run = tenFrames()
    const at = record(run, split('A', 4))
    const slitAt = record(run, slit('A', { L: [1], M: [2] }))
    const rewound = record(run, { event: 'rewind', roll: 'L' })
    const tryAt = (voids: number) => codeOf(() => record(run, { event: 'void', voids }))
    expect([tryAt(at), tryAt(slitAt)]).toEqual(['material-not-voidable', 'material-not-voidable'])
    expect([tryAt(rewound), tryAt(slitAt), tryAt(at)]).toEqual(['taken', 'taken', 'taken'])
  })

  it('is refused for what did something to the run, for other entries, and a second time', () => {
    const run = tenFrames()
    const foil = record(run, { event: 'foil', station: 'foil', foil: 'silver' })
    const splice = record(run, { event: 'splice' })
    const tryAt = (voids: number) => codeOf(() => record(run, { event: 'void', voids }))
    expect([tryAt(foil), tryAt(0), tryAt(999), tryAt(splice), tryAt(splice)]).toEqual([
      'material-not-voidable',
      'material-not-voidable',
      'material-not-voidable',
      'taken',
      'material-not-voidable',
    ])
    expect(tryAt(splice + 1)).toBe('material-not-voidable')
  })
})

describe('any sequence of events', () => {
  const rollNames = ['A', 'B', 'C', 'L', 'M', 'R1', 'R1-2', 'R1-3']
  const roll = fc.constantFrom(...rollNames)
  const position = fc.integer({ min: -60_000, max: 700_000 })
  const body: fc.Arbitrary<MaterialBody> = fc.oneof(
    fc.record({ event: fc.constant('split' as const), roll, positionUm: position }),
    fc.record({ event: fc.constant('partial' as const), roll, positionUm: position }),
    fc.record({ event: fc.constant('rewind' as const), roll }),
    fc.record({
      event: fc.constant('slit' as const),
      roll,
      laneRolls: fc.array(fc.record({ roll, lanes: fc.subarray([1, 2, 3], { minLength: 1 }) }), {
        minLength: 1,
        maxLength: 3,
      }),
    }),
    fc.record({ event: fc.constant('cut-out' as const), positionUm: position, toPositionUm: position }),
    fc.record({ event: fc.constant('void' as const), voids: fc.nat(40) }),
    fc.record({ event: fc.constantFrom('splice' as const, 're-thread' as const), positionUm: position }),
    fc.constant<MaterialBody>({ event: 'rewind' }),
  )
  type Act = { frames: number } | { close: true } | { body: MaterialBody }
  const act: fc.Arbitrary<Act> = fc.oneof(
    { weight: 2, arbitrary: fc.integer({ min: 1, max: 4 }).map((frames) => ({ frames })) },
    { weight: 1, arbitrary: fc.constant<Act>({ close: true }) },
    { weight: 12, arbitrary: body.map((given) => ({ body: given })) },
  )

  it('is refused with a code or taken; a replay stands the same, and names and ends hold together', () => {
    const seen = new Set<string>()
    fc.assert(
      fc.property(fc.array(act, { maxLength: 40 }), (acts) => {
        const run = tenFrames()
        for (const one of acts) {
          const isOpen = run.state.name === 'proving'
          if ('frames' in one) {
            if (isOpen) run.frames(one.frames)
          } else if ('close' in one) {
            if (isOpen) close(run)
          } else seen.add(`${one.body.event} ${codeOf(() => record(run, one.body))}`)
        }
        const { material, stretches, name } = run.state
        const again = run.replayed()
        expect({ material: again.material, stretches: again.stretches, name: again.name }).toEqual({
          material,
          stretches,
          name,
        })
        const rolls = finishedRolls(run.state)
        expect(new Set(rolls.map((row) => row.name)).size).toBe(rolls.length)
        const lanes = run.state.material.flatMap(({ body: { laneRolls = [] } }) => laneRolls.map((row) => row.roll))
        expect(new Set([...lanes, ...rolls.map((row) => row.name)]).size).toBe(lanes.length + rolls.length)
      }),
      { numRuns: 400, verbose: 1 },
    )
    // What the property went through: every event both ways.
    for (const event of ['split', 'partial', 'rewind', 'slit', 'cut-out', 'void']) {
      expect([...seen].filter((text) => text.startsWith(`${event} `)).length).toBeGreaterThan(1)
    }
  })
})
