// Orientation at the doors: the route in JSON and as a drawing, the command in words, and a run that no roll could be.
import { mkdtemp, readFile, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { runCli } from '../../src/cli/index.ts'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'
import { type CallOptions, type Conformance, documentedIn, openConformance } from '../fixtures/conformance.ts'
import { lineProfile, ticketOf } from '../fixtures/live-run.ts'
import { plainDraft, writeDraft } from '../fixtures/packages.ts'

const route = 'GET /lines/:line/orientation'
const by = 'P. Press'
let bench: ApiBench
let api: Conformance
let folder: string

const asked = (ticket: string, options: CallOptions = {}) =>
  api.call(route, { line: 'L7' }, { ...options, query: { ticket, ...options.query } })

beforeAll(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'orientation-doors-'))
  bench = await openApiBench()
  const { json } = await bench.ask('GET', '/api/v1/openapi.json')
  api = openConformance(bench, documentedIn(json))
  const charts = [{ chart: 'house', positions: [{ number: 4, leadEdge: 'bottom', face: 'in' }] }]
  await api.ok(200, 'PUT /lines/:line', { line: 'L7' }, { body: { ...lineProfile(), charts } })
  const tickets = {
    bottom: { leadEdge: 'bottom', direction: 'reversed', material: { face: 'out' } },
    chart: { unwind: { chart: 'house', number: 4 } },
    side: { leadEdge: 'left' },
  }
  for (const [name, more] of Object.entries(tickets))
    await api.ok(200, 'PUT /tickets/:ticket', { ticket: name }, { body: { ...ticketOf(name), ...more } })
})
afterAll(async () => {
  await bench.close()
  await rm(folder, { recursive: true })
})

describe('the route of orientation', () => {
  it('knows no frame before a package is published', async () => {
    await api.refused('package-not-found', route, { line: 'L7' }, { query: { ticket: 'bottom' } })
    await writeDraft(path.join(folder, 'package'), await plainDraft())
    const options = { query: { by }, body: { path: path.join(folder, 'package') }, headers: { prefer: 'wait=60' } }
    await api.ok(200, 'POST /packages', {}, options)
    const released = { body: { by, why: 'proof approved' } }
    await api.ok(200, 'POST /packages/:job/:package/release', { job: 'J7', package: 1 }, released)
  })

  it('says where every cell is and what a person checks', async () => {
    const { json, headers } = await asked('bottom')
    expect(headers.get('vary')).toBe('accept')
    expect(json).toMatchObject({ ticket: 'bottom', roll: 'bottom-R1', line: 'L7' })
    expect(json.orientation).toEqual({
      kind: 'possible',
      frameTurnDeg: 180,
      direction: 'reversed',
      face: 'out',
      leadEdge: 'bottom',
      lanesMirrored: true,
      webWidthMm: 50,
      pitchMm: 30,
      // Of a web of 50 × 30 mm: cells of 20 × 12 at (2, 4) and (26, 4).
      cells: [
        {
          cell: 1,
          lane: 1,
          row: 1,
          rotateDeg: 180,
          lineLane: 2,
          arrives: 1,
          leftMm: 28,
          topMm: 14,
          widthMm: 20,
          heightMm: 12,
        },
        {
          cell: 2,
          lane: 2,
          row: 1,
          rotateDeg: 180,
          lineLane: 1,
          arrives: 1,
          leftMm: 4,
          topMm: 14,
          widthMm: 20,
          heightMm: 12,
        },
      ],
    })
    expect(json.rewoundOnce).toEqual({ leadEdge: 'top', direction: 'as-printed', lanesMirrored: false })
    expect(json.words[1]).toBe('Looking along the travel, lane 2 is on the left and lane 1 on the right.')
  })

  it('reads a chart number by the chart of the line', async () => {
    expect((await asked('chart')).json.orientation).toMatchObject({ leadEdge: 'bottom', face: 'in', frameTurnDeg: 180 })
  })

  it('draws it where a drawing is asked for, by parameter or by Accept', async () => {
    const [byFormat, byAccept] = [
      await asked('bottom', { query: { format: 'svg' } }),
      await asked('bottom', { headers: { accept: 'image/svg+xml, */*;q=0.1' } }),
    ]
    for (const { headers } of [byFormat, byAccept]) expect(headers.get('content-type')).toContain('image/svg+xml')
    expect(byAccept.text).toBe(byFormat.text)
    expect((await sharp(Buffer.from(byFormat.text)).metadata()).width).toBe(860)
    const browser = await asked('bottom', { headers: { accept: 'image/svg+xml' }, query: { format: 'json' } })
    expect(browser.json.orientation.kind).toBe('possible')
  })

  it('says why no roll can run so, and draws nothing of it', async () => {
    const { json } = await asked('side')
    expect(json).toMatchObject({ orientation: { kind: 'impossible', code: 'lead-edge-at-side' }, words: [] })
    await api.refused('orientation-impossible', route, { line: 'L7' }, { query: { ticket: 'side', format: 'svg' } })
  })

  it('refuses names of nothing', async () => {
    await api.refused('ticket-not-found', route, { line: 'L7' }, { query: { ticket: 'none' } })
    await api.refused('line-not-found', route, { line: 'none' }, { query: { ticket: 'side' } })
    await api.refused('bad-request', route, { line: 'L7' })
    await api.refused('bad-request', route, { line: 'L7' }, { query: { ticket: 'side', format: 'pdf' } })
  })
})

describe('a run of a roll that no roll can be', () => {
  it('is opened by nobody, and leaves nothing', async () => {
    const body = { ticket: 'side', line: 'L7', by, why: 'hurry', override: true }
    await api.refused('orientation-impossible', 'POST /runs', {}, { body })
    expect((await api.ok(200, 'GET /runs')).json.runs).toEqual([])
  })
})

describe('the command', () => {
  async function cli(...argv: string[]) {
    let stdout = ''
    const spy = vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
      stdout += String(text)
      return true
    })
    const parts = { version: '', start: async () => expect.unreachable(), demo: async () => 0 }
    const code = await runCli(['--url', bench.url, 'orientation', '--line', 'L7', ...argv], parts)
    spy.mockRestore()
    return { code, stdout }
  }

  it('says in words what to check, and writes the drawing', async () => {
    const file = path.join(folder, 'bottom.svg')
    const { code, stdout } = await cli('--ticket', 'bottom', '--svg', file)
    expect(code).toBe(0)
    expect(stdout.trimEnd().split('\n')).toEqual([
      `drawing written to ${file}`,
      'Roll bottom-R1 on L7; check at the unwinder:',
      '  1. The bottom edge of the labels leads, as one reads them.',
      '  2. Looking along the travel, lane 2 is on the left and lane 1 on the right.',
      '  3. The roll is wound face out: the web leaves it over the top, print up.',
      '  4. The frame that was printed last is on the outside and comes first.',
      '  5. Under the sensor the labels lie upside down, feet first.',
      'cell  lane  row  from left  arrives  turned',
      '1     1     1    2          1        180°',
      '2     2     1    1          1        180°',
      'Rewound once, for another pass: leadEdge top, direction as-printed, lanesMirrored false.',
    ])
    expect(await readFile(file, 'utf8')).toBe((await asked('bottom', { query: { format: 'svg' } })).text)
  })

  it('gives programs all of it', async () => {
    const { code, stdout } = await cli('--ticket', 'bottom', '--json')
    expect([code, JSON.parse(stdout)]).toEqual([0, (await asked('bottom')).json])
  })

  it('ends in 1 with the reason where no roll can run so, and writes no drawing', async () => {
    const file = path.join(folder, 'side.svg')
    const { code, stdout } = await cli('--ticket', 'side', '--svg', file)
    expect([code, stdout]).toEqual([
      1,
      expect.stringMatching(/cannot run on L7 as its ticket says: lead-edge-at-side: /),
    ])
    await expect(readFile(file)).rejects.toThrow('ENOENT')
  })
})
