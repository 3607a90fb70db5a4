// The page that a controller's programmer works from: it names everything that travels, and its session is one that really happens.
import { readFileSync } from 'node:fs'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type * as z from 'zod'
import {
  answerSchema,
  closeCodes,
  controllerMessageSchema,
  controllerMessages,
  frameEventSchema,
  laidReportSchema,
  readSchema,
  revocationSchema,
  rollcallMessageSchema,
  rollcallMessages,
} from '../../src/protocol/index.ts'
import { type LineHouse, opened, openLineHouse } from '../fixtures/line-house.ts'
import { act } from '../fixtures/line-roll.ts'
import { lineProfile, openRun, proveRun } from '../fixtures/live-run.ts'
import { root } from '../fixtures/server.ts'
import { until } from './fixtures/until.ts'

const page = readFileSync(path.join(root, 'demo-jobs/line/PROTOCOL.md'), 'utf8')
const [words = '', session = ''] = page.split(/^## A session.*$/m)

type Turn =
  | { readonly from: 'controller' | 'rollcall'; readonly message: Record<string, unknown> }
  | { readonly from: 'person'; readonly what: string }

// A line that begins with blanks goes on with the one before; digests are cut to their first eight digits.
const turns: Turn[] = (session.split('```')[1] ?? '')
  .replaceAll(/\n {3}/g, '')
  .trim()
  .split('\n')
  .map((line): Turn => {
    const text = line.slice(2).replaceAll(/"([0-9a-f]{8})…"/g, (_, start: string) => `"${start.padEnd(64, '0')}"`)
    if (line.startsWith('→')) return { from: 'controller', message: JSON.parse(text) }
    if (line.startsWith('←')) return { from: 'rollcall', message: JSON.parse(text) }
    return { from: 'person', what: line.trim() }
  })

/** What differs from one run to the next. */
const steady = (message: object): unknown =>
  JSON.parse(JSON.stringify(message, (key, value) => (key === 'root' || key === 'digest' ? 'of 32 bytes' : value)))

describe('the page', () => {
  it('stays a page', () => {
    expect(page.split('\n').length).toBeLessThan(120)
    expect(page).toMatch(/no safety\s+function/)
  })

  it('names every message, member, decision and code of closing', () => {
    const members = (schema: z.ZodObject): string[] => Object.keys(schema.shape)
    const schemas = [answerSchema, frameEventSchema, laidReportSchema, readSchema, revocationSchema]
    const messages = [
      ...Object.values(controllerMessages),
      ...Object.values(rollcallMessages),
    ] as unknown as z.ZodObject[]
    const names = [...schemas, ...messages].flatMap(members).filter((name) => name !== 'type')
    for (const name of [...names, ...Object.keys(controllerMessages), ...Object.keys(rollcallMessages)])
      expect(words, name).toContain(`\`${name}\``)
    for (const code of Object.values(closeCodes)) expect(words, String(code)).toContain(String(code))
  })
})

describe('its session', () => {
  let house: LineHouse
  beforeAll(async () => {
    house = await openLineHouse()
  })
  afterAll(() => house.close())

  it('has messages that fit the protocol', () => {
    expect(turns.filter(({ from }) => from === 'rollcall').length).toBeGreaterThan(8)
    for (const turn of turns) {
      if (turn.from === 'controller') controllerMessageSchema.parse(turn.message)
      if (turn.from === 'rollcall') rollcallMessageSchema.parse(turn.message)
    }
  })

  it('happens just so', async () => {
    const runId = await openRun(house.server, 'T-41', lineProfile(380))
    await proveRun(house.server, runId)
    const controller = house.connect(runId)
    await opened(controller)
    let heard = 0
    for (let at = 0; at < turns.length; ) {
      const turn = turns[at++]!
      if (turn.from === 'controller') controller.send(turn.message)
      if (turn.from === 'person') {
        const cause = { flag: 'print-version-mismatch', job: 'J7', design: 'LIME', print: '09' }
        await act(house, runId, 'clear', { by: 'L. Lead', why: 'looked', cause, after: 'skip-rest' })
      }
      const expected: unknown[] = []
      for (let next = turns[at]; next?.from === 'rollcall'; next = turns[++at]) expected.push(steady(next.message))
      if (expected.some((message) => (message as { type: string }).type === 'heartbeat')) house.held.advance(1_000)
      await until(() => controller.messages.length >= heard + expected.length || controller.closed !== undefined)
      const got = controller.messages.slice(heard).map(steady)
      heard += got.length
      // What came because of one message may come in any order.
      expect(got).toHaveLength(expected.length)
      expect(got).toEqual(expect.arrayContaining(expected))
    }
    expect(await controller.ended()).toBe(1000)
  })
})
