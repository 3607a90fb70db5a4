// What acts on a run send, before a server that notes what it is asked, and how set-up is shown.
import { createServer, type Server as HttpServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { runCli } from './program.ts'

let http: HttpServer
let url: string
let asked: { line: string; body: unknown }[]
let reply: unknown
let out: string

const counts = { frames: 0, labels: 0, lay: 0, skip: 0, stop: 0, setup: 0, revoked: 0, flags: {} }
const view = {
  runId: 'T.1',
  state: 'open',
  ticket: 'T',
  tickets: ['T'],
  roll: 'R',
  line: 'L',
  lanes: [1, 2],
  provableLanes: [],
  pending: 0,
  lastFrame: -1,
  counts,
  causes: [],
}

beforeEach(async () => {
  asked = []
  reply = view
  out = ''
  http = createServer((request, response) => {
    const chunks: Buffer[] = []
    request.on('data', (chunk) => chunks.push(chunk))
    request.on('end', () => {
      const text = Buffer.concat(chunks).toString()
      const line = `${request.method} ${request.url?.replace('/api/v1', '')}`
      asked.push({ line, body: text === '' ? undefined : JSON.parse(text) })
      response.setHeader('content-type', 'application/json')
      response.end(JSON.stringify(reply))
    })
  })
  await new Promise<void>((resolve) => http.listen(0, '127.0.0.1', resolve))
  url = `http://127.0.0.1:${(http.address() as AddressInfo).port}`
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    out += String(text)
    return true
  })
  vi.spyOn(process.stderr, 'write').mockImplementation(() => true)
})
afterEach(async () => {
  vi.restoreAllMocks()
  http.closeAllConnections()
  await new Promise((resolve) => http.close(resolve))
})

const parts = { version: '', start: async () => expect.unreachable(), demo: async () => 0 }
const cli = (line: string, ...rest: string[]) => runCli(['--url', url, ...line.split(' '), ...rest], parts)
const sent = async (line: string, ...rest: string[]) => {
  expect(await cli(line, ...rest)).toBe(0)
  return asked.at(-1)
}

describe('proving', () => {
  it('names the labels compared, lanes, and a second person', async () => {
    const words = 'prove T.1 --by Ann --second Bob --compared 1=4/1 --compared 2=4/2'
    expect(await sent(words)).toEqual({
      line: 'POST /runs/T.1/prove',
      body: {
        by: 'Ann',
        second: 'Bob',
        compared: [
          { lane: 1, frame: 4, cell: 1 },
          { lane: 2, frame: 4, cell: 2 },
        ],
      },
    })
    expect((await sent('prove T.1 --by Ann --lanes 1,2'))?.body).toEqual({ by: 'Ann', lanes: [1, 2] })
  })

  it.each(['prove T.1 --by Ann', 'prove T.1 --by Ann --compared 1=4', 'prove T.1 --by Ann --lanes 0'])(
    'is refused as %s',
    async (words) => {
      expect([await cli(words), asked]).toEqual([2, []])
    },
  )
})

describe('material', () => {
  const by = { by: 'Ann' }
  it.each<[string, object]>([
    ['--event split --position 1200.5 --roll R1-A', { event: 'split', positionMm: 1200.5, roll: 'R1-A' }],
    [
      '--event slit --roll R1-A --lane-roll A=1 --lane-roll B=2,3',
      {
        event: 'slit',
        roll: 'R1-A',
        laneRolls: [
          { roll: 'A', lanes: [1] },
          { roll: 'B', lanes: [2, 3] },
        ],
      },
    ],
    ['--event partial --position 9 --roll rest', { event: 'partial', positionMm: 9, roll: 'rest' }],
    ['--event rewind', { event: 'rewind' }],
    ['--event cut-out --position 3 --to 5', { event: 'cut-out', positionMm: 3, toPositionMm: 5 }],
    ['--event cut-out --frames 2', { event: 'cut-out', frames: 2 }],
    [
      '--event foil --station foil --foil gold --left 0 --width 54',
      { event: 'foil', station: 'foil', foil: 'gold', leftMm: 0, widthMm: 54 },
    ],
    ['--event void --voids 17 --why slip', { event: 'void', voids: 17, note: 'slip' }],
  ])('sends %s', async (words, body) => {
    expect(await sent(`material T.1 --by Ann ${words}`)).toEqual({
      line: 'POST /runs/T.1/material',
      body: { ...by, ...body },
    })
  })

  it.each([
    '--event slit --lane-roll A',
    '--event slit --lane-roll =1',
    '--event slit --lane-roll A=x',
    '--event void --voids x',
  ])('refuses %s', async (words) => {
    expect([await cli(`material T.1 --by Ann ${words}`), asked]).toEqual([2, []])
  })
})

describe('a run', () => {
  it('shows events of the material by the entry that a void names, the latest ones', async () => {
    const splice = (ledgerIndex: number) => ({ ledgerIndex, event: 'splice' })
    const split = { ledgerIndex: 40, event: 'split', roll: 'R1-A', positionMm: 1200.5 }
    reply = { ...view, material: [...Array.from({ length: 13 }, (_, i) => splice(i)), split] }
    await sent('runs T.1')
    expect(out).toContain('\n  2 earlier events of the material\n  entry 2: splice, place not recorded\n')
    expect(out).toContain('\n  entry 40: split R1-A at 1200.5 mm\n')
  })

  it.each([
    [
      { event: 'cut-out', positionMm: 1500, toPositionMm: 1600, frames: 1 },
      'cut-out at 1500 to 1600 mm, 1 frame missing',
    ],
    [{ event: 'cut-out', frames: 2, note: 'torn' }, 'cut-out, place not recorded, 2 frames missing: torn'],
    [
      {
        event: 'slit',
        roll: 'A',
        laneRolls: [
          { roll: 'A-1', lanes: [1] },
          { roll: 'A-2', lanes: [2, 3] },
        ],
      },
      'slit A into A-1 (lane 1), A-2 (lanes 2, 3)',
    ],
    [
      { event: 'foil', station: 'foil', foil: 'gold', leftMm: 2, widthMm: 54 },
      'foil at the foil station: gold, 2 to 56 mm across',
    ],
    [{ event: 'foil', station: 'foil', positionMm: 7 }, 'foil at the foil station: nothing threaded at 7 mm'],
  ])('tells all of the event %j', async (event, text) => {
    reply = { ...view, material: [{ ledgerIndex: 5, ...event }] }
    await sent('runs T.1')
    expect(out).toContain(`\n  entry 5: ${text}\n`)
  })

  it('is named by its ticket, the ones before it, its roll and its line', async () => {
    reply = { ...view, ticket: 'T3', tickets: ['T', 'T2', 'T3'] }
    await sent('runs T.1')
    expect(out).toContain('\n  ticket T3 (before: T, T2), roll R, line L\n')
  })
})

describe('change-ticket', () => {
  it('sends the next ticket with who and why, and demands a reason', async () => {
    expect(await sent('change-ticket T.1 T2 --by Ann --override --why', 'next order')).toEqual({
      line: 'POST /runs/T.1/ticket',
      body: { ticket: 'T2', by: 'Ann', why: 'next order', override: true },
    })
    expect(await cli('change-ticket T.1 T2 --by Ann')).toBe(2)
  })

  it('says that it changed, and from which to which', async () => {
    reply = { ...view, ticket: 'T2', tickets: ['T', 'T2'] }
    await sent('change-ticket T.1 T2 --by Ann --why', 'next order')
    expect(out).toMatch(/^run T\.1 goes on with ticket T2 from the next frame, instead of T\nrun T\.1 is open/)
  })
})

describe('set-up', () => {
  const began = { ledgerIndex: 1, atMs: Date.UTC(2026, 2, 4, 5, 6, 7), by: 'Ann' }
  const lanes = [{ lane: 1, labels: 4, lay: 3, skip: 1, stop: 0 }]
  const section = { began, reason: 'first', frames: 4, firstFrame: 0, lastFrame: 3, labels: 4, lanes, webM: 0.24 }
  const compared = [{ lane: 1, frame: 2, cell: 1, code: 'J/A/1' }]
  const proved = { ...began, ledgerIndex: 9, second: 'Bob', lanes: [1], compared }
  const again = { ...section, began: { ...began, why: 'the mark count slipped at frame 8' }, reason: 'slipped-count' }

  it('shows each section: why, how much by lane, who proved it by which label', async () => {
    reply = { runId: 'T.1', state: 'proving', sections: [{ ...section, proved }, again], labels: 8, webM: 0.48 }
    expect((await sent('set-up T.1'))?.line).toBe('GET /runs/T.1/set-up')
    expect(out).toBe(
      [
        'set-up of T.1: 8 labels, 0.48 m of web',
        '1. before the run proper, 2026-03-04 05:06:07, by Ann',
        '  4 frames (0 to 3), 4 labels, 0.24 m of web',
        '  lane  labels  lay  skip  stop',
        '  1     4       3    1     0',
        '  proved by Ann and Bob, 2026-03-04 05:06:07, lanes 1: lane 1: frame 2, cell 1 (J/A/1)',
        '2. after a slipped mark count, 2026-03-04 05:06:07, by Ann: the mark count slipped at frame 8',
        '  4 frames (0 to 3), 4 labels, 0.24 m of web',
        '  lane  labels  lay  skip  stop',
        '  1     4       3    1     0',
        '  not proved yet',
        '',
      ].join('\n'),
    )
  })

  it('lists labels where asked to, and says where nobody proved', async () => {
    const list = [{ frame: 0, cell: 1, lane: 1, decision: 'lay', laid: 'full', code: 'J/A/1' }]
    const endedBy = { ...began, to: 'aborted' }
    reply = { runId: 'T.1', state: 'aborted', sections: [{ ...section, endedBy, list }], labels: 4, webM: 0.24 }
    expect((await sent('set-up T.1 --labels'))?.line).toBe('GET /runs/T.1/set-up?labels=true')
    expect(out).toContain('  not proved: aborted by Ann')
    expect(out).toMatch(/^ {2}0 +1 +1 +lay +full +J\/A\/1$/m)
    reply = { runId: 'T.1', state: 'ready', sections: [], labels: 0, webM: 0 }
    await sent('set-up T.1')
    expect(out).toContain('T.1 has no set-up yet.')
  })

  it('is pointed to where proving is asked for again', async () => {
    reply = { ...view, state: 'proving', proving: { again: 'slipped-count', why: 'the mark count slipped at frame 8' } }
    await sent('runs T.1')
    expect(out).toContain('proving is asked for again: the mark count slipped at frame 8; see rollcall set-up T.1')
  })
})
