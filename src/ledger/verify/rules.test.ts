// The rules between entries, and the tables behind them.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { answerDraft } from '../../../tests/fixtures/sample-entries.ts'
import { sha256Hex } from '../../kernel/bytes.ts'
import { type EntryBodies, type EntryDraft, runStates } from '../entries.ts'
import { createFrameTable, createLabelTable } from './label-table.ts'
import { createRules } from './rules.ts'
import type { ShapedEntry } from './shapes.ts'

type To = EntryBodies['step']['to']
const step = (to: To, more: object = {}): EntryDraft => ({ type: 'step', body: { to, by: 'x', ...more } })
const frame = (n: number, more: object = {}): EntryDraft => ({
  type: 'frame',
  body: { frame: n, place: n, positionUm: 0, ...more },
})
const answer = (n: number, cell: number, more: object = {}): EntryDraft => answerDraft({ frame: n, cell }, more)
const revoke = (index: number, n: number, cell: number): EntryDraft => ({
  type: 'revocation',
  body: { answer: index, frame: n, cell, flag: 'withdrawn' },
})
const laid = (n: number, cell: number): EntryDraft => ({ type: 'laid', body: { frame: n, cell, laid: 'full' } })
const opened = [step('ready'), step('proving'), step('open')]
const [picture, other] = [sha256Hex('picture'), sha256Hex('other')]
const reads = (n: number, capture: string): EntryDraft => ({ type: 'reads', body: { frame: n, capture, reads: [] } })

/** Index and code of the first fault; undefined when there is none. */
function firstFault(drafts: readonly EntryDraft[], more: (index: number) => object = () => ({})) {
  const rules = createRules()
  for (const [index, draft] of drafts.entries()) {
    try {
      rules.apply({ index, epoch: 1, ...draft, ...more(index) } as ShapedEntry)
    } catch (fault) {
      return { index, code: (fault as { code: string }).code }
    }
  }
  return undefined
}

describe('the states of a run', () => {
  const steps: Record<To, readonly To[]> = {
    ready: ['proving', 'aborted'],
    proving: ['proving', 'open', 'closing', 'aborted'],
    open: ['stopped', 'proving', 'closing', 'aborted'],
    stopped: ['open', 'proving', 'closing', 'aborted'],
    closing: ['sealed', 'aborted'],
    sealed: [],
    aborted: [],
  }
  const wayTo: Record<To, readonly To[]> = {
    ready: ['ready'],
    proving: ['ready', 'proving'],
    open: ['ready', 'proving', 'open'],
    stopped: ['ready', 'proving', 'open', 'stopped'],
    closing: ['ready', 'proving', 'open', 'closing'],
    sealed: ['ready', 'proving', 'open', 'closing', 'sealed'],
    aborted: ['ready', 'aborted'],
  }
  const pairs = runStates.flatMap((from) => runStates.map((to) => ({ from, to, allowed: steps[from].includes(to) })))

  it.each(pairs)('from $from to $to: $allowed', ({ from, to, allowed }) => {
    const way = wayTo[from].map((state) => step(state))
    expect(firstFault(way)).toBeUndefined()
    const isEnd = from === 'sealed' || from === 'aborted'
    const fault = { index: way.length, code: isEnd ? 'after-end' : 'step' }
    expect(firstFault([...way, step(to)])).toEqual(allowed ? undefined : fault)
  })

  it('stay as they are when a cause is cleared or added', () => {
    const cause = { cause: { flag: 'withdrawn' }, after: 'resume' }
    const drafts = [
      ...opened.slice(0, 2),
      step('proving', cause),
      step('open'),
      step('open', cause),
      step('stopped'),
      step('stopped', cause),
    ]
    expect(firstFault(drafts)).toBeUndefined()
    expect(firstFault([step('ready'), step('ready', cause)])).toEqual({ index: 1, code: 'step' })
  })

  it('stay as they are at a change of ticket, which carries what that ticket may use', () => {
    const next = { ticket: '{}', frozen: '{}' }
    const drafts = [
      ...opened.slice(0, 2),
      step('proving', next),
      step('open'),
      step('open', { ...next, override: '[]' }),
      step('stopped'),
      step('stopped', next),
    ]
    expect(firstFault(drafts)).toBeUndefined()
    const way = drafts.slice(0, 4)
    expect(firstFault([...way, step('stopped', next)])).toEqual({ index: 4, code: 'step' })
    expect(firstFault([...way, step('proving', next)])).toEqual({ index: 4, code: 'step' })
    expect(firstFault([...way, step('open', { ticket: '{}' })])).toEqual({ index: 4, code: 'step' })
    expect(firstFault([step('ready', next), step('ready', next)])).toEqual({ index: 1, code: 'step' })
  })

  it('may ask for proving again from wherever frames are taken', () => {
    const again = step('proving', { again: 'slipped-count', frame: 3 })
    expect(firstFault([...opened, again, again, step('open'), step('stopped'), again])).toBeUndefined()
  })

  it('begin with ready, before anything else', () => {
    expect(firstFault([step('proving')])).toEqual({ index: 0, code: 'step' })
    expect(firstFault([frame(0), step('ready')])).toEqual({ index: 0, code: 'step' })
  })

  it('end with sealed and with aborted: nothing of any type may follow', () => {
    const closed = [...opened, frame(0), answer(0, 1), step('closing'), step('sealed')]
    const act: EntryDraft = { type: 'act', body: { act: 'note', by: 'x' } }
    for (const late of [act, frame(1), answer(0, 2), laid(0, 1), revoke(4, 0, 1), step('sealed')]) {
      expect(firstFault([...closed, late])).toEqual({ index: 7, code: 'after-end' })
    }
    expect(firstFault([...closed.slice(0, 5), step('aborted'), act])).toEqual({ index: 6, code: 'after-end' })
  })
})

describe('order', () => {
  it('indices rise by one from 0', () => {
    expect(firstFault(opened, (i) => ({ index: i + 1 }))).toEqual({ index: 0, code: 'index' })
    expect(firstFault(opened, (i) => ({ index: i === 2 ? 1 : i }))).toEqual({ index: 2, code: 'index' })
    expect(firstFault(opened, (i) => ({ index: i === 2 ? 3 : i }))).toEqual({ index: 2, code: 'index' })
  })

  it('the epoch may rise but never fall', () => {
    expect(firstFault(opened, (i) => ({ epoch: i * 2 }))).toBeUndefined()
    expect(firstFault(opened, (i) => ({ epoch: i === 2 ? 3 : 4 }))).toEqual({ index: 2, code: 'epoch' })
  })

  it('frame numbers rise, with leaps', () => {
    expect(firstFault([...opened, frame(0), frame(1), frame(900)])).toBeUndefined()
    expect(firstFault([...opened, frame(5), frame(5)])).toEqual({ index: 4, code: 'frame' })
    expect(firstFault([...opened, frame(5), frame(4)])).toEqual({ index: 4, code: 'frame' })
  })
})

describe('labels', () => {
  const run = [...opened, frame(0), answer(0, 1), answer(0, 2, { decision: 'skip' }), frame(1)]

  it('are answered in recorded frames only, in any order of frames', () => {
    expect(firstFault([...run, answer(1, 1), answer(0, 3)])).toBeUndefined()
    expect(firstFault([...run, answer(2, 1)])).toEqual({ index: 7, code: 'answer' })
    expect(firstFault([...opened, answer(0, 1)])).toEqual({ index: 3, code: 'answer' })
  })

  it('are answered once, whatever the second answer says', () => {
    for (const cell of [1, 2]) expect(firstFault([...run, answer(0, cell)])).toEqual({ index: 7, code: 'answer' })
    const revoked = [...run, revoke(4, 0, 1)]
    expect(firstFault([...revoked, answer(0, 1, { decision: 'skip' })])).toEqual({ index: 8, code: 'answer' })
  })

  it('lie in cells that a frame can have', () => {
    expect(firstFault([...run, answer(1, 256)])).toBeUndefined()
    for (const cell of [0, 257, 2 ** 40])
      expect(firstFault([...run, answer(1, cell)])).toEqual({ index: 7, code: 'answer' })
  })

  it('are revoked once, by the index of their own answer, and only when that was lay', () => {
    expect(firstFault([...run, revoke(4, 0, 1)])).toBeUndefined()
    const wrong = [
      revoke(5, 0, 2),
      revoke(5, 0, 1),
      revoke(3, 0, 1),
      revoke(4, 0, 2),
      revoke(4, 1, 1),
      revoke(4, 0, 3),
      revoke(4, 9, 1),
    ]
    for (const draft of wrong) expect(firstFault([...run, draft])).toEqual({ index: 7, code: 'revocation' })
    expect(firstFault([...run, revoke(4, 0, 1), laid(0, 1), revoke(4, 0, 1)])).toEqual({ index: 9, code: 'revocation' })
  })

  it('cannot be revoked before they are answered', () => {
    expect(firstFault([...opened, frame(0), revoke(5, 0, 1), answer(0, 1)])).toEqual({ index: 4, code: 'revocation' })
  })

  it('are reported once, after their answer', () => {
    expect(firstFault([...run, laid(0, 1), laid(0, 2)])).toBeUndefined()
    expect(firstFault([...run, laid(0, 3)])).toEqual({ index: 7, code: 'laid' })
    expect(firstFault([...run, laid(9, 1)])).toEqual({ index: 7, code: 'laid' })
    expect(firstFault([...run, laid(0, 1), laid(0, 1)])).toEqual({ index: 8, code: 'laid' })
  })
})

describe('reads', () => {
  const run = [...opened, frame(0, { capture: picture }), frame(1, { reads: [] }), frame(2)]

  it('belong to a frame that was recorded with that picture', () => {
    expect(firstFault([...run, reads(0, picture)])).toBeUndefined()
    for (const wrong of [reads(0, other), reads(1, picture), reads(2, picture), reads(3, picture)]) {
      expect(firstFault([...run, wrong])).toEqual({ index: 6, code: 'reads' })
    }
  })

  it('come once', () => {
    expect(firstFault([...run, reads(0, picture), reads(0, picture)])).toEqual({ index: 7, code: 'reads' })
  })

  it('do not come with a frame that has a picture', () => {
    expect(firstFault([...run, frame(3, { capture: picture, reads: [] })])).toEqual({ index: 6, code: 'frame' })
    expect(firstFault([...run, frame(3, { capture: picture, awaits: 1 })])).toEqual({ index: 6, code: 'frame' })
  })

  it('without a picture belong to a frame that awaits them, and come once', () => {
    const bare = (n: number): EntryDraft => ({ type: 'reads', body: { frame: n, reads: [{ lane: 1 }] } })
    const awaiting = [...run, frame(3, { reads: [{ lane: 2 }], awaits: 1 })]
    expect(firstFault([...awaiting, bare(3)])).toBeUndefined()
    expect(firstFault([...awaiting, bare(3), bare(3)])).toEqual({ index: 8, code: 'reads' })
    for (const wrong of [bare(0), bare(1), reads(3, picture)])
      expect(firstFault([...awaiting, wrong])).toEqual({ index: 7, code: 'reads' })
  })
})

describe('the tables behind the rules', () => {
  it('remember every label as a map does, over chunks of frames and growing numbers of cells', () => {
    const labels = fc.array(
      fc.record({
        ordinal: fc.nat(5_000),
        cell: fc.oneof(fc.integer({ min: 1, max: 4 }), fc.integer({ min: 1, max: 256 })),
        answer: fc.nat(2 ** 40),
        isLay: fc.boolean(),
        isRevoked: fc.boolean(),
        isReported: fc.boolean(),
      }),
      { maxLength: 200 },
    )
    fc.assert(
      fc.property(labels, (given) => {
        const table = createLabelTable()
        const map = new Map<string, unknown>()
        for (const { ordinal, cell, ...state } of given) {
          expect(table.get({ ordinal, cell })).toEqual(map.get(`${ordinal}/${cell}`))
          table.set({ ordinal, cell }, state)
          map.set(`${ordinal}/${cell}`, state)
        }
        for (const { ordinal, cell } of given)
          expect(table.get({ ordinal, cell })).toEqual(map.get(`${ordinal}/${cell}`))
        expect(table.get({ ordinal: 5_001, cell: 1 })).toBeUndefined()
      }),
    )
  })

  it('find every frame again by its number, and no other', () => {
    fc.assert(
      fc.property(
        fc.uniqueArray(fc.maxSafeNat(), { minLength: 1, maxLength: 3_000 }),
        fc.maxSafeNat(),
        (numbers, missing) => {
          const sorted = numbers.toSorted((a, b) => a - b)
          const table = createFrameTable()
          expect(table.last).toBe(-1)
          for (const number of sorted) table.add(number)
          expect(table.last).toBe(sorted.at(-1))
          for (const number of numbers) expect(table.ordinalOf(number)).toBe(sorted.indexOf(number))
          if (!numbers.includes(missing)) expect(table.ordinalOf(missing)).toBeUndefined()
        },
      ),
      { numRuns: 30 },
    )
  })
})
