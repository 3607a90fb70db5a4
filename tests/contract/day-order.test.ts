// The order of a day over its route and its command: stored tickets in, both orders with what each change takes out.
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { runCli } from '../../src/cli/index.ts'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'
import { type Conformance, documentedIn, openConformance } from '../fixtures/conformance.ts'
import { lineProfile, ticketOf } from '../fixtures/live-run.ts'
import { plainDraft, writeDraft } from '../fixtures/packages.ts'

let bench: ApiBench
let api: Conformance
const order = 'POST /lines/:line/order'
const tickets = ['A', 'B', 'C']

beforeAll(async () => {
  bench = await openApiBench()
  api = openConformance(bench, documentedIn((await bench.ask('GET', '/api/v1/openapi.json')).json))
  const folder = path.join(bench.folder, '..', 'package')
  await writeDraft(folder, await plainDraft())
  const headers = { prefer: 'wait=60' }
  await api.ok(200, 'POST /packages', {}, { query: { by: 'P. Press' }, body: { path: folder }, headers })
  const minutes = { setUp: 10, foilChange: 12, pitchChange: 20, rollChange: 5 }
  await api.ok(200, 'PUT /lines/:line', { line: 'L9' }, { body: { ...lineProfile(), line: 'L9', minutes } })
  await api.ok(200, 'PUT /lines/:line', { line: 'L7' }, { body: lineProfile() })
  for (const [i, foil] of ['gold', 'silver', 'gold'].entries()) {
    const ticket = tickets[i] ?? ''
    const body = { ...ticketOf(ticket), foils: [{ station: 'foil', foil }] }
    await api.ok(200, 'PUT /tickets/:ticket', { ticket }, { body })
  }
  const unknown = { ...ticketOf('UNKNOWN'), jobs: [{ job: 'NONE' }] }
  await api.ok(200, 'PUT /tickets/:ticket', { ticket: 'UNKNOWN' }, { body: unknown })
  const late = { ...ticketOf('LATE'), roll: 'A-R1', pass: 2, foils: [] }
  await api.ok(200, 'PUT /tickets/:ticket', { ticket: 'LATE' }, { body: late })
})
afterAll(() => bench.close())

interface Plan {
  readonly steps: readonly { readonly ticket: string }[]
}
const named = ({ steps }: Plan): string[] => steps.map(({ ticket }) => ticket)
const ordered = async (body: object) => (await api.ok(200, order, { line: 'L9' }, { body: { tickets, ...body } })).json

describe('the route', () => {
  it('puts tickets of one foil together and says what is saved', async () => {
    const json = await ordered({})
    expect([named(json.given), named(json.proposed)]).toEqual([tickets, ['A', 'C', 'B']])
    expect(json).toMatchObject({ given: { minutes: 76 }, costMinutes: 64, lowerBoundMinutes: 64, gapMinutes: 0 })
    expect(json).toMatchObject({ exact: true, method: 'exact', arrangements: 2, givenOutOfPass: [] })
  })

  it('begins with what hangs on the line, unless the first ticket stays', async () => {
    const threaded = [{ station: 'foil', foil: 'silver' }]
    const now = await ordered({ threaded, pitchMm: 40 })
    expect(named(now.proposed)).toEqual(['B', 'A', 'C'])
    expect(now.proposed.steps[0]).toMatchObject({ minutes: 30, putUp: [], pitchMm: { from: 40, to: 30 } })
    expect(named((await ordered({ threaded, fixedFirst: true })).proposed)).toEqual(['A', 'C', 'B'])
  })

  it('stores nothing', async () => {
    const before = (await api.ok(200, 'GET /names')).json
    await ordered({})
    expect((await api.ok(200, 'GET /names')).json).toEqual(before)
  })

  it('refuses what is not stored, not published, named twice or too much', async () => {
    const refused = (code: 'bad-request' | 'package-not-found' | 'ticket-not-found', names: readonly string[]) =>
      api.refused(code, order, { line: 'L9' }, { body: { tickets: names } })
    await refused('ticket-not-found', ['A', 'none'])
    expect((await refused('package-not-found', ['UNKNOWN'])).json.detail).toContain('UNKNOWN names job NONE')
    expect((await refused('bad-request', ['A', 'A'])).json.detail).toContain('A is named twice')
    await refused('bad-request', [])
    await refused(
      'bad-request',
      Array.from({ length: 201 }, (_, i) => `T${i}`),
    )
    await api.refused('line-not-found', order, { line: 'none' }, { body: { tickets } })
    const half = { tickets, threaded: [{ station: 'foil', foil: 'gold', leftMm: 3 }] }
    await api.refused('bad-request', order, { line: 'L9' }, { body: half })
    const early = { tickets: ['LATE', 'A'], fixedFirst: true }
    expect((await api.refused('bad-request', order, { line: 'L9' }, { body: early })).json.measured).toBe('LATE')
  })
})

describe('the command', () => {
  async function cli(...argv: string[]): Promise<{ code: number; stdout: string; stderr: string }> {
    const said = { stdout: '', stderr: '' }
    const spies = (['stdout', 'stderr'] as const).map((name) =>
      vi.spyOn(process[name], 'write').mockImplementation((text) => {
        said[name] += String(text)
        return true
      }),
    )
    const parts = { version: '', start: async () => expect.unreachable(), demo: async () => 0 }
    const code = await runCli(['--url', bench.url, 'order', ...argv], parts)
    for (const spy of spies) spy.mockRestore()
    return { code, ...said }
  }
  const ok = async (line: string): Promise<string> => {
    const { code, stdout, stderr } = await cli(...line.split(' '))
    expect(code, stderr).toBe(0)
    return stdout
  }

  it('prints both orders with the minutes of each change, totals, method and gap', async () => {
    const text = await ok('--line L9 A B C')
    const [given = '', proposed = ''] = text.split('\nProposed:\n')
    expect(given).toMatch(/^As given:\n.*\n1 {2}A .*\n2 {2}B .*\n3 {2}C .*\n {3}all {5}76 {3}30 {6}36 {4}0 {6}10\n$/)
    expect(proposed.split('\n')).toEqual([
      '   ticket  min  set-up  foil  pitch  roll  what changes',
      '1  A       22   10      12    0      0     foil: gold 50 mm',
      '2  C       15   10      0     0      5     roll A-R1 → C-R1',
      '3  B       27   10      12    0      5     foil: silver 50 mm for gold 50 mm; roll C-R1 → B-R1',
      '   all     64   30      24    0      10',
      '',
      '64 min instead of 76 min: 12 min less.',
      'Method: dynamic programming over 2 arrangements of the line; no order takes less.',
      '',
    ])
  })

  it('takes the line as it stands, and a first ticket that stays', async () => {
    const now = '--line L9 A B C --threaded foil=silver --pitch 40'
    expect(named(JSON.parse(await ok(`${now} --json`)).proposed)).toEqual(['B', 'A', 'C'])
    expect(await ok(now)).toContain('1  B       30   10      0     20     0     pitch 40 → 30 mm')
    expect(await ok(`${now} --fixed-first`)).toMatch(/Proposed:\n.*\n1 {2}A /)
    const apart = await ok('--line L9 A --threaded foil=gold@0+20 --threaded foil/lower=gold@30+20')
    expect(apart).toContain('foil: gold 50 mm for gold at 0+20 mm; foil/lower: gold at 30+20 mm off')
  })

  it('says when nothing is gained, when changes take no minutes, and when a pass came too early', async () => {
    expect(await ok('--line L9 A C')).toContain('\nThe order as given stays.\n')
    expect(await ok('--line L7 A B')).toContain('The profile of L7 states no minutes for changes')
    const late = await ok('--line L9 LATE A')
    expect(late).toMatch(/^2 {2}LATE .* roll A-R1 put on again$/m)
    expect(late).toContain('LATE stood before an earlier pass of the roll.')
  })

  it('refuses what it cannot read', async () => {
    for (const threaded of ['foil', 'foil=', 'foil=gold@10', 'foil=gold@a+b']) {
      const { code, stderr } = await cli('--line', 'L9', 'A', '--threaded', threaded)
      expect([code, stderr]).toEqual([2, expect.stringContaining('--threaded')])
    }
    expect(await cli('--line', 'L9', 'A', '--threaded', 'tape=gold')).toMatchObject({ code: 1 })
    expect((await cli('--line', 'L9', 'none')).stderr).toContain('ticket-not-found')
    expect(await cli('--line', 'L9')).toMatchObject({ code: 2 })
  })
})
