// What a schema refuses, in words for a person.
// Schema findings: pointers, unknown fields and what was measured.
import { describe, expect, it } from 'vitest'
import * as z from 'zod'
import { firstOf, pointerTo, schemaFindings } from './schema-findings.ts'

const schema = z.strictObject({ name: z.string(), size: z.int().min(1), kind: z.enum(['a', 'b']).optional() })

function findingsOf(of: z.ZodType, value: unknown) {
  const parsed = of.safeParse(value)
  if (parsed.success) throw new Error('the schema took it')
  return schemaFindings(parsed.error, value, 'bad-request')
}
const short = (of: z.ZodType, value: unknown) => findingsOf(of, value).map(({ pointer, message }) => [pointer, message])

describe('findings of a schema', () => {
  it('name every mistake with its pointer, absent values as missing', () => {
    expect(short(schema, { size: 0, kind: 'c' })).toEqual([
      ['/name', 'is missing'],
      ['/size', 'expected number to be >=1'],
      ['/kind', 'expected one of "a"|"b"'],
    ])
  })

  it('say what was found and what is wanted, where that is short', () => {
    const of = z.strictObject({ few: z.array(z.int()).max(1), size: z.int().min(1), kind: z.enum(['a', 'b']) })
    expect(findingsOf(of, { few: [1, 2], size: 0, kind: 'x'.repeat(90) })).toMatchObject([
      { pointer: '/few', measured: 2, limit: 1 },
      { pointer: '/size', measured: 0, limit: 1 },
      { pointer: '/kind', measured: 'x'.repeat(80), limit: 'a, b' },
    ])
  })

  it('name each unknown key by itself', () => {
    expect(short(schema, { name: 'x', size: 1, sise: 2, 'a/b~c': 3 })).toEqual([
      ['/sise', 'the schema knows no "sise" here'],
      ['/a~1b~0c', 'the schema knows no "a/b~c" here'],
    ])
  })

  it('look into the branch of a union that the value was meant for', () => {
    const oneOrMany = z.union([schema, z.array(schema)])
    expect(short(oneOrMany, { name: 'x', size: 'y' })).toEqual([['/size', 'expected number, received string']])
    expect(short(oneOrMany, [{ name: 'x', size: 1 }, { name: 'x' }])).toEqual([['/1/size', 'is missing']])
    expect(short(oneOrMany, { name: 'x', size: 1, extra: 1 })).toEqual([['/extra', 'the schema knows no "extra" here']])
    expect(short(oneOrMany, 7)).toHaveLength(1)
  })

  it('call a whole value of another type by what it is', () => {
    expect(short(schema, null)).toEqual([['', 'expected object, received null']])
  })

  it('keep the words of a rule between values, also about one that is absent', () => {
    const paired = z
      .object({ a: z.string(), b: z.string().optional() })
      .refine(({ a, b }) => a !== 'x' || b !== undefined, { path: ['b'], message: 'x needs b' })
    expect(short(paired, { a: 'x' })).toEqual([['/b', 'x needs b']])
  })

  it('come to one line for a message', () => {
    expect(firstOf(findingsOf(schema, { size: 0 }))).toBe('/name is missing (and 1 more)')
    expect(firstOf(findingsOf(schema, null))).toBe('/ expected object, received null')
  })
})

describe('a pointer', () => {
  it('escapes as RFC 6901 wants', () => {
    expect(pointerTo(['a', 0, 'm~n', 'x/y'])).toBe('/a/0/m~0n/x~1y')
  })
})
