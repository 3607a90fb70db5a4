// What the wire refuses, so that the ledger need not: texts that its canonical JSON cannot hold, and texts without measure.
import { describe, expect, it } from 'vitest'
import { entryBodies } from '../ledger/index.ts'
import { frameEventSchema } from './wire.ts'
import { actSchema, clearSchema, openRunSchema } from './wire-acts.ts'
import { fromMaterial, materialSchema, toMaterial } from './wire-material.ts'

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

  const laneRolls = [{ roll: 'A', lanes: [1] }]
  it.each<[string, object]>([
    ['/positionMm', { event: 'split', roll: 'A' }],
    ['/roll', { event: 'split', positionMm: 1 }],
    ['/roll', { event: 'partial', positionMm: 1 }],
    ['/laneRolls', { event: 'slit', roll: 'A' }],
    ['/laneRolls/0/lanes', { event: 'slit', laneRolls: [{ roll: 'A', lanes: [] }] }],
    ['/voids', { event: 'void' }],
    ['/station', { event: 'foil' }],
    ['/station', { event: 'splice', station: 'foil' }],
    ['/foil', { event: 'splice', foil: 'gold' }],
    ['/widthMm', { event: 'foil', station: 'foil', foil: 'gold', leftMm: 3 }],
    ['/positionMm', { event: 'cut-out', toPositionMm: 5 }],
    ['/frames', { event: 'cut-out', frames: 0 }],
    ['/toPositionMm', { event: 'split', positionMm: 1, roll: 'A', toPositionMm: 3 }],
    ['/laneRolls', { event: 'rewind', laneRolls }],
    ['/voids', { event: 'splice', voids: 3 }],
    ['/roll', { event: 'splice', roll: 'A' }],
    ['/roll', { event: 'split', positionMm: 1, roll: '../A' }],
  ])('refuses at %s an event of the material %j', (pointer, event) => {
    const paths = materialSchema.safeParse(event).error?.issues.map(({ path }) => `/${path.join('/')}`)
    expect(paths).toEqual([pointer])
  })

  it.each<object>([
    { event: 'cut-out', positionMm: 1.0004, toPositionMm: 2.5, note: 'torn', by: 'lead' },
    { event: 'foil', station: 'foil', foil: 'gold', leftMm: 0, widthMm: 54.25 },
    { event: 'slit', roll: 'A', laneRolls },
    { event: 'void', voids: 7, by: 'lead', second: 'QA' },
    { event: 'splice', positionMm: -3, frames: 2 },
  ])('takes %j into the ledger in µm, and gives it out again', (event) => {
    const body = toMaterial(materialSchema.parse(event))
    expect(entryBodies.material.parse(body)).toEqual(body)
    const rounded = { ...event, ...('toPositionMm' in event ? { positionMm: 1 } : {}) }
    expect(fromMaterial({ ...body, key: 'k1', secondKey: 'k2' })).toEqual(rounded)
  })

  it('takes what is sound', () => {
    expect(frameEventSchema.safeParse(frame({ symbology: ']Q1' })).success).toBe(true)
    expect(clearSchema.safeParse({ ...clear, cause: { flag: 'other-job', job: '😀' } }).success).toBe(true)
  })
})
