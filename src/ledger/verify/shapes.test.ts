// The verifier's shapes are written down apart from the writer's schemas; here the two are held against each other.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { anyDraft } from '../../../tests/fixtures/entry-arbitraries.ts'
import { canonicalText } from '../../kernel/bytes.ts'
import { type EntryDraft, entryBodies, entryTypes } from '../entries.ts'
import { type Plain, parseLine } from './parse-line.ts'
import { shapeEntry } from './shapes.ts'

const head = { v: 1, index: 0, atMs: 5, epoch: 1, salt: '0f'.repeat(16) }
const entryOf = (draft: object): Plain => parseLine(Buffer.from(canonicalText({ ...head, ...draft })))
const isShaped = (draft: object): boolean => {
  try {
    shapeEntry(entryOf(draft))
    return true
  } catch (fault) {
    expect(fault).toMatchObject({ code: 'shape' })
    return false
  }
}
const isValid = ({ type, body }: EntryDraft): boolean => entryBodies[type].safeParse(body).success

// What a value is replaced with; each fits some key and not others.
const others = fc.constantFrom<unknown[]>(
  -1,
  0,
  1,
  90,
  45,
  '',
  'open',
  'lay',
  'withdrawn',
  'a'.repeat(64),
  [],
  {},
  [1],
  ['x'],
  { a: 1 },
)

/** Every place in a value, as a list of keys. */
function placesIn(value: unknown, at: readonly string[] = []): readonly (readonly string[])[] {
  if (typeof value !== 'object' || value === null) return [at]
  return [at, ...Object.entries(value).flatMap(([key, member]) => placesIn(member, [...at, key]))]
}

function changed(value: unknown, [key, ...rest]: readonly string[], change: (old: unknown) => unknown): unknown {
  if (key === undefined) return change(value)
  const copy = structuredClone(value) as Record<string, unknown>
  const member = changed(copy[key], rest, change)
  if (member === undefined && !Array.isArray(copy)) delete copy[key]
  else copy[key] = member ?? 0
  return copy
}

describe('the shape of an entry', () => {
  it('takes every body that the schemas take', () => {
    fc.assert(
      fc.property(anyDraft, (draft) => {
        expect(isShaped(draft)).toBe(true)
      }),
      { numRuns: 2_000 },
    )
  })

  it('agrees with the schemas on bodies with a value replaced, removed or added anywhere', () => {
    const outcomes = { taken: 0, refused: 0 }
    const changes = fc.oneof(
      others.map((other) => () => other),
      fc.constant(() => undefined),
      fc.constantFrom('cause', 'why', 'extra').map((key) => (old: unknown) => {
        return typeof old === 'object' && old !== null && !Array.isArray(old) ? { ...old, [key]: 'x' } : [old]
      }),
    )
    fc.assert(
      fc.property(anyDraft, fc.nat(), changes, (draft, which, change) => {
        const places = placesIn(draft.body)
        const body = changed(draft.body, places[which % places.length]!, change) ?? {}
        const other = { type: draft.type, body } as EntryDraft
        const valid = isValid(other)
        outcomes[valid ? 'taken' : 'refused'] += 1
        expect(isShaped(other)).toBe(valid)
      }),
      { numRuns: 5_000 },
    )
    expect(Math.min(outcomes.taken, outcomes.refused)).toBeGreaterThan(200)
  })

  it('knows the same types', () => {
    for (const type of entryTypes) {
      expect(() => shapeEntry(entryOf({ type, body: [] }))).toThrow(`not the body of "${type}": /body`)
    }
    expect(() => shapeEntry(entryOf({ type: 'toString', body: {} }))).toThrow('/type')
  })

  const heads: Record<string, object> = {
    'a version of the form that is not known': { v: 2 },
    'an index below zero': { index: -1 },
    'an epoch below zero': { epoch: -1 },
    'a time that is text': { atMs: '5' },
    'a salt that is too short': { salt: '0f' },
    'a salt in capitals': { salt: '0F'.repeat(16) },
    'a key that is not known': { also: 1 },
    'a type that is not known': { type: 'note' },
  }
  it.each(Object.entries(heads))('refuses %s', (_, change) => {
    const draft = { type: 'laid', body: { frame: 0, cell: 1, laid: 'full' } }
    expect(isShaped(draft)).toBe(true)
    expect(isShaped({ ...draft, ...change })).toBe(false)
  })

  it.each(['v', 'index', 'atMs', 'epoch', 'salt', 'type', 'body'])('refuses an entry without %s', (key) => {
    const whole = { ...head, type: 'laid', body: { frame: 0, cell: 1, laid: 'full' } }
    const { [key as keyof typeof whole]: _, ...rest } = whole
    expect(() => shapeEntry(parseLine(Buffer.from(canonicalText(rest))))).toThrow(`/${key}`)
  })

  it('refuses keys out of order, at any depth', () => {
    const turned = [
      '{"body":{},"atMs":5}',
      '{"atMs":5,"body":{"cell":1,"frame":0,"laid":"full"},"index":0,"epoch":1,"salt":"","type":"laid","v":1}',
      `{"atMs":5,"body":{"frame":0,"cell":1,"laid":"full"},"epoch":1,"index":0,"salt":"${head.salt}","type":"laid","v":1}`,
    ]
    for (const text of turned) {
      expect(() => shapeEntry(parseLine(Buffer.from(text)))).toThrow(expect.objectContaining({ code: 'not-canonical' }))
    }
  })

  it.each(['1.5', '9007199254740992', '-1', 'true', 'null', '"1"', '[]', '{}'])('refuses %s for a count', (value) => {
    const body = `{"cell":1,"frame":${value},"laid":"full"}`
    const text = `{"atMs":5,"body":${body},"epoch":1,"index":0,"salt":"${head.salt}","type":"laid","v":1}`
    expect(() => shapeEntry(parseLine(Buffer.from(text)))).toThrow('/body/frame')
  })

  it('refuses keys that every object inherits', () => {
    for (const key of ['__proto__', 'constructor', 'toString']) {
      const text = `{"${key}":1,"atMs":5,"body":{"cell":1,"frame":0,"laid":"full"},"epoch":1,"index":0,"salt":"${head.salt}","type":"laid","v":1}`
      expect(() => shapeEntry(parseLine(Buffer.from(text)))).toThrow(
        expect.objectContaining({ code: expect.stringMatching(/shape|canonical/) }),
      )
    }
  })

  it('refuses what is no object', () => {
    for (const text of ['1', '"a"', '[]', 'null'])
      expect(() => shapeEntry(parseLine(Buffer.from(text)))).toThrow('no object')
  })
})
