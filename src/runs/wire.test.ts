// What the wire refuses, so that the ledger need not: texts that its canonical JSON cannot hold, and texts without measure.
import { describe, expect, it } from 'vitest'
import { actSchema, clearSchema, frameEventSchema, materialSchema, openRunSchema } from './wire.ts'

const half = 'a\ud800'
const act = { by: 'lead', why: 'looked at it' }
const clear = { ...act, cause: { flag: 'other-job' }, after: 'resume' }
const frame = (read: object) => ({ frame: 0, positionMm: 0, reads: [{ cell: 1, text: 'x', ...read }] })
const order = { ...act, ticket: 'T', line: 'L' }

describe('the wire', () => {
  it.each([
    ['text', frameEventSchema, frame({ text: half })],
    ['symbology', frameEventSchema, frame({ symbology: half })],
    ['name', actSchema, { ...act, by: half }],
    ['reason', actSchema, { ...act, why: half }],
    ['note', materialSchema, { event: 'splice', note: half }],
    ['foil', materialSchema, { event: 'foil', station: 'foil', foil: half }],
    ['cause', clearSchema, { ...clear, cause: { flag: 'other-job', job: half } }],
    ['ticket', openRunSchema, { ...order, ticket: half }],
  ])('refuses half a surrogate pair in a %s', (_, schema, value) => {
    expect(schema.safeParse(value).error?.issues).toMatchObject([{ message: 'has a lone surrogate' }])
  })

  it.each([
    ['cause', clearSchema, { ...clear, cause: { flag: 'other-job', design: 'x'.repeat(10_000) } }],
    ['ticket', openRunSchema, { ...order, ticket: 'x'.repeat(10_000) }],
  ])('refuses a %s without measure', (_, schema, value) => {
    expect(schema.safeParse(value).error?.issues).toMatchObject([{ code: 'too_big' }])
  })

  it('takes what is sound', () => {
    expect(frameEventSchema.safeParse(frame({ symbology: ']Q1' })).success).toBe(true)
    expect(clearSchema.safeParse({ ...clear, cause: { flag: 'other-job', job: '😀' } }).success).toBe(true)
  })
})
