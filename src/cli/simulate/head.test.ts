// The heads: lay what held at the point of no return, in part where the web stands over a label, and report it once it has passed.
import { describe, expect, it } from 'vitest'
import type { DueLabel } from '../../client/index.ts'
import type { Answer } from '../../protocol/index.ts'
import type { LineGeometry } from './geometry.ts'
import { openHead } from './head.ts'
import { openLogbook } from './logbook.ts'

const geometry: LineGeometry = {
  pitchMm: 60,
  cells: [{ cell: 1, lane: 1, noReturnAfterMm: 300, lengthMm: 50 }],
  stations: new Map([
    ['foil', 100],
    ['inkjet', 1_000],
  ]),
  lengthMm: 2_000,
}

const lay = (ledgerIndex: number, stations: readonly string[] = ['foil', 'inkjet']): Answer =>
  ({ ledgerIndex, layers: stations.map((station) => ({ station })) }) as unknown as Answer

const dueAt = (frame: number, decision: DueLabel['decision'], because?: DueLabel['because']): DueLabel => ({
  frame,
  cell: 1,
  decision,
  noReturnMm: 500,
  positionMm: 500,
  ...(because ? { because } : {}),
})

function headOf(planted?: 'none' | 'part' | 'unknown') {
  const book = openLogbook(1)
  book.trigger(0, 0)
  return { book, head: openHead({ geometry, book, ordinalOf: () => 0, plantedAt: () => planted }) }
}

describe('the heads', () => {
  it('report a label once it has passed the last of them', () => {
    const { head, book } = headOf()
    head.due(dueAt(0, lay(7)))
    expect([book.laidBy(0, 0), head.busy, head.passed(1_549)]).toEqual([7, 1, []])
    expect(head.passed(1_550)).toEqual([{ frame: 0, cell: 1, laid: 'full' }])
    expect([head.busy, head.passed(9_000)]).toEqual([0, []])
  })

  it('need not wait for a head that has no work on the label', () => {
    const { head } = headOf()
    head.due(dueAt(0, lay(7, ['foil'])))
    expect(head.passed(650)).toHaveLength(1)
  })

  it('lay in part what lies under one of them while the web stands', () => {
    for (const [positionMm, laid] of [
      [599, 'full'],
      [620, 'part'],
      [700, 'full'],
      [1_501, 'part'],
    ] as const) {
      const { head } = headOf()
      head.due(dueAt(0, lay(7)))
      head.stand(positionMm)
      expect(head.passed(2_000)).toEqual([{ frame: 0, cell: 1, laid }])
    }
  })

  it('lay nothing on a label without a valid answer, and note why', () => {
    const { head, book } = headOf()
    head.due(dueAt(0, 'skip', 'late'))
    expect([head.busy, book.laidBy(0, 0), book.skippedBecause(0, 0)]).toEqual([0, -1, 'late'])
  })

  it('do with labels what the scenario says', () => {
    for (const [planted, laidBy] of [
      ['none', -1],
      ['part', 7],
      ['unknown', 7],
    ] as const) {
      const { head, book } = headOf(planted)
      head.due(dueAt(0, lay(7)))
      expect([book.laidBy(0, 0), head.passed(2_000)]).toEqual([laidBy, [{ frame: 0, cell: 1, laid: planted }]])
    }
  })
})
