// Stop causes, and the windows that turn many small flags into a stop.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { defaultPolicy, type Policy } from '../lines/index.ts'
import { Causes, causeOf, StopWindows } from './causes.ts'

const identity = { job: 'J', design: 'A', text: 't', print: '02' }

describe('the cause of a flag', () => {
  it('is told apart by job, design and print version', () => {
    expect(causeOf('not-released', identity)).toEqual({ flag: 'not-released', job: 'J', design: 'A', print: '02' })
  })

  it('names no print version where none was read', () => {
    expect(causeOf('not-released', { job: 'J', design: 'A', text: 't' })).toEqual({
      flag: 'not-released',
      job: 'J',
      design: 'A',
    })
  })

  it('of a recall is one, whatever print version carries the design', () => {
    expect(causeOf('withdrawn', identity)).toEqual({ flag: 'withdrawn', job: 'J', design: 'A' })
  })

  it('of a label without identity is the flag alone', () => {
    expect(causeOf('no-read', undefined)).toEqual({ flag: 'no-read' })
  })
})

describe('causes', () => {
  const cause = causeOf('other-job', identity)
  const elsewhere = { ...cause, print: '01' }

  it('are open until cleared, each by itself', () => {
    const causes = new Causes()
    causes.open(cause, { index: 7, frame: 3, cell: 2 })
    causes.open(elsewhere, { index: 9 })
    expect(causes.opened()).toEqual([
      { cause, status: 'open', openedAt: 7, frame: 3, cell: 2 },
      { cause: elsewhere, status: 'open', openedAt: 9 },
    ])
    causes.clear(cause, 'resume')
    expect(causes.status(cause)).toBeUndefined()
    expect(causes.status(elsewhere)).toBe('open')
  })

  it('stay known where the rest of their labels is to skip', () => {
    const causes = new Causes()
    causes.open(cause, { index: 7 })
    causes.clear(cause, 'skip-rest')
    expect(causes.opened()).toEqual([])
    expect(causes.all()).toEqual([{ cause, status: 'skip-rest', openedAt: 7 }])
  })

  it('are the same by what they say, not by which object says it', () => {
    const causes = new Causes()
    causes.open({ ...cause }, { index: 1 })
    expect(causes.status({ print: '02', design: 'A', job: 'J', flag: 'other-job' })).toBe('open')
  })
})

const policyWith = (count: number, within: number): Policy => ({
  ...defaultPolicy,
  late: { decision: 'skip', stopAfter: { count, within } },
})

describe('windows', () => {
  it('ask for a stop at the very label that makes it 3 in 20', () => {
    const windows = new StopWindows(policyWith(3, 20))
    windows.add(['late'])
    windows.add(['late'])
    expect(windows.wouldStop('late')).toBe(true)
  })

  it('count the label in question as one of the last', () => {
    // Flagged, plain, and then the third in question: the last 2 labels hold one flag.
    const windows = new StopWindows(policyWith(2, 2))
    windows.add(['late'])
    windows.add([])
    expect(windows.wouldStop('late')).toBe(false)
    windows.add(['late'])
    expect(windows.wouldStop('late')).toBe(true)
  })

  it('let go of what lies further back', () => {
    const windows = new StopWindows(policyWith(2, 5))
    windows.add(['late'])
    for (let i = 0; i < 3; i++) windows.add([])
    expect(windows.wouldStop('late')).toBe(true)
    windows.add([])
    expect(windows.wouldStop('late')).toBe(false)
  })

  it('count each flag by itself, and none that has no limit', () => {
    const windows = new StopWindows(policyWith(1, 5))
    expect(windows.wouldStop('late')).toBe(true)
    expect(windows.wouldStop('no-read')).toBe(false)
    for (let i = 0; i < 100; i++) windows.add(['superseded', 'no-read'])
    expect(windows.wouldStop('superseded')).toBe(false)
    expect(windows.wouldStop('no-read')).toBe(true)
  })

  it('begin anew after somebody looked', () => {
    const windows = new StopWindows(policyWith(2, 50))
    windows.add(['late'])
    windows.reset('late')
    expect(windows.wouldStop('late')).toBe(false)
  })

  it('agree with counting the last labels one by one', () => {
    const limits = fc.record({ count: fc.integer({ min: 1, max: 6 }), within: fc.integer({ min: 1, max: 12 }) })
    fc.assert(
      fc.property(limits, fc.array(fc.boolean(), { maxLength: 60 }), ({ count, within }, labels) => {
        const windows = new StopWindows(policyWith(count, within))
        labels.forEach((flagged, at) => {
          const last = [...labels.slice(0, at), true].slice(-within)
          expect(windows.wouldStop('late')).toBe(last.filter(Boolean).length >= count)
          windows.add(flagged ? ['late'] : [])
        })
      }),
    )
  })
})
