// The AsyncAPI document of the line: every message once, with the very schemas that messages are checked by, and nothing left open.
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import * as z from 'zod'
import { closeCodes, controllerMessages, rollcallMessages, subprotocol } from '../../src/protocol/index.ts'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'

let bench: ApiBench
// biome-ignore lint/suspicious/noExplicitAny: a document is looked into by hand
let document: any
beforeAll(async () => {
  bench = await openApiBench()
  document = (await bench.ask('GET', '/api/v1/asyncapi.json')).json
})
afterAll(() => bench.close())

function valuesOf(value: unknown, key: string): unknown[] {
  if (typeof value !== 'object' || value === null) return []
  return Object.entries(value).flatMap(([name, inner]) => [...(name === key ? [inner] : []), ...valuesOf(inner, key)])
}

// biome-ignore lint/suspicious/noExplicitAny: a document is looked into by hand
const at = (reference: string): any =>
  reference
    .slice(2)
    .split('/')
    .reduce((inner, name) => inner?.[name], document)

/** References followed to their ends, so that what is said can be compared. */
function whole(value: unknown): unknown {
  if (typeof value !== 'object' || value === null) return value
  if (Array.isArray(value)) return value.map(whole)
  const { $ref } = value as { $ref?: string }
  if ($ref !== undefined) return whole(at($ref))
  return Object.fromEntries(Object.entries(value).map(([name, inner]) => [name, whole(inner)]))
}

const all = [
  ...Object.entries(controllerMessages).map(([type, schema]) => ({
    type,
    schema,
    action: 'receive',
    io: 'input' as const,
  })),
  ...Object.entries(rollcallMessages).map(([type, schema]) => ({
    type,
    schema,
    action: 'send',
    io: 'output' as const,
  })),
]

describe('the AsyncAPI document', () => {
  it('is 3.0.0, of this server, with the address of the WebSocket', () => {
    expect(document).toMatchObject({
      asyncapi: '3.0.0',
      info: { version: '0.0.0-test', description: expect.stringContaining(subprotocol) },
      servers: { this: { host: new URL(bench.url).host, protocol: 'ws' } },
      channels: { line: { address: '/api/v1/runs/{runId}/line', parameters: { runId: expect.any(Object) } } },
    })
    for (const code of Object.values(closeCodes)) expect(document.info.description).toContain(String(code))
  })

  it('has every message of the protocol in one operation of its direction, and no other', () => {
    const operations = Object.values(document.operations) as { action: string; messages: { $ref: string }[] }[]
    const told = operations.map(({ action, messages }) => {
      expect(messages).toHaveLength(1)
      const { payload } = at(at(messages[0]!.$ref).$ref)
      return `${action} ${at(payload.$ref).properties.type.const}`
    })
    expect(told.toSorted()).toEqual(all.map(({ action, type }) => `${action} ${type}`).toSorted())
    expect(Object.keys(document.channels.line.messages)).toHaveLength(all.length)
  })

  it.each(all)('says of $type ($action) what messages are checked by', ({ type, schema, action, io }) => {
    const names = Object.entries(
      document.operations as Record<string, { action: string; messages: { $ref: string }[] }>,
    )
      .filter(([, operation]) => operation.action === action)
      .map(([, { messages }]) => at(at(messages[0]!.$ref).$ref).payload.$ref as string)
    const said = names.map((name) => whole(at(name)) as { properties: { type: { const: string } } })
    const own = said.find(({ properties }) => properties.type.const === type)
    const { $schema: _, ...wanted } = z.toJSONSchema(schema, { target: 'draft-7', io, reused: 'inline' }) as Record<
      string,
      unknown
    >
    const inline = (value: unknown): unknown => {
      if (typeof value !== 'object' || value === null) return value
      if (Array.isArray(value)) return value.map(inline)
      const { $ref } = value as { $ref?: string }
      if ($ref !== undefined)
        return inline((wanted.definitions as Record<string, unknown>)[$ref.slice('#/definitions/'.length)])
      return Object.fromEntries(
        Object.entries(value)
          .filter(([name]) => name !== 'definitions')
          .map(([name, inner]) => [name, inline(inner)]),
      )
    }
    expect(own).toEqual(inline(wanted))
  })

  it('leaves no reference open', () => {
    const references = valuesOf(document, '$ref') as string[]
    expect(references.length).toBeGreaterThan(30)
    for (const reference of new Set(references)) expect(at(reference), reference).toBeTypeOf('object')
  })

  it('tells every message what it is for, and what it is answered with', () => {
    for (const { name, summary } of Object.values(document.components.messages) as { name: string; summary: string }[])
      expect(summary.length, name).toBeGreaterThan(15)
    for (const name of ['hello', 'frames', 'laid'])
      expect(document.operations[`receive-${name}`].reply.messages).toHaveLength(2)
  })
})
