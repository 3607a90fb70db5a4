// `rollcall sums`: how reels are written, what is asked of the server, and what a person is shown.
import { createServer, type Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { artOf, inquiryOf } from '../../tests/fixtures/sum-ticket.ts'
import { sumsRows, sumTicket } from '../lines/index.ts'
import { reelOf } from './commands-sums.ts'
import { runCli } from './program.ts'

let http: Server
let url: string
let asked: { line: string; body: unknown }[]
let replies: { status?: number; body: unknown }[]
let out: string

beforeEach(async () => {
  asked = []
  replies = []
  out = ''
  http = createServer((request, response) => {
    let text = ''
    request.setEncoding('utf8').on('data', (chunk: string) => {
      text += chunk
    })
    request.on('end', () => {
      asked.push({ line: `${request.method} ${request.url}`, body: text === '' ? undefined : JSON.parse(text) })
      const { status = 200, body } = replies.shift() ?? { body: {} }
      response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(body))
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

const parts = {
  version: '1.2.3',
  start: async () => expect.unreachable('a server was told of'),
  demo: async () => 0,
}
const cli = (...argv: string[]) => runCli(['--url', url, 'sums', '--ticket', 'T1', '--line', 'L1', ...argv], parts)

async function weighed(whatIf?: object) {
  const inquiry = inquiryOf(artOf(5), { expectedFrames: 2_000 })
  const sums = await sumTicket({ ...inquiry, ...(whatIf ? { whatIf } : {}) })
  return { sums, ...sumsRows(sums) }
}

describe('a reel', () => {
  it('is a station and a foil, with a place and a length where wanted', () => {
    expect(reelOf('foil=gold-satin')).toEqual({ station: 'foil', foil: 'gold-satin' })
    expect(reelOf('foil=gold@12.5+80')).toEqual({ station: 'foil', foil: 'gold', leftMm: 12.5, widthMm: 80 })
    const full = { station: 'foil', foil: 'gold', leftMm: 0, widthMm: 80, lengthM: 600 }
    expect(reelOf('foil=gold@0+80:600')).toEqual(full)
    expect(reelOf('foil=gold:600')).toEqual({ station: 'foil', foil: 'gold', lengthM: 600 })
  })

  it.each(['gold', 'foil=', 'foil=gold@12', 'foil=gold@1+2:', 'foil=gold@1.2.3+4'])('is not %s', (text) => {
    expect(() => reelOf(text)).toThrow(/--foil takes/)
  })
})

describe('sums', () => {
  it('are shown as a table, with every limit of the speed and the rows that they earn', async () => {
    replies = [{ body: await weighed() }]
    expect(await cli()).toBe(0)
    expect(asked).toEqual([{ line: 'POST /api/v1/lines/L1/sums', body: { ticket: 'T1' } }])
    expect(out).toContain('Sums of ticket T1 on L1: 2000 frames of 30 mm by the ticket, 4000 labels, 6 m of set-up.')
    expect(out).toContain('No sequence: each cell is taken to be shared evenly')
    expect(out).toMatch(/speed ceiling, m\/min +40\.0 +bound by height; next frames at 54\.0, 1\.35 times as fast/)
    expect(out).toMatch(/height +40\.0 +binds/)
    expect(out).toMatch(/gold 1 on foil, m +80\.0 +at 0 to 24 mm; 2 of 40 m: one is too short/)
    expect(out).toMatch(/warning foil-short: .*2 reels/)
  })

  it('of what-if stand beside those of the ticket, with the difference', async () => {
    replies = [{ body: { ...(await weighed()), whatIf: await weighed({ frames: 4_000, speedMPerMin: 20 }) } }]
    expect(
      await cli('--frames', '4000', '--speed', '20', '--thickness', '0.1', '--foil', 'foil=a', '--foil', 'foil=b'),
    ).toBe(0)
    expect(asked[0]?.body).toEqual({
      ticket: 'T1',
      whatIf: {
        speedMPerMin: 20,
        foils: [
          { station: 'foil', foil: 'a' },
          { station: 'foil', foil: 'b' },
        ],
        frames: 4_000,
        thicknessMm: 0.1,
      },
    })
    expect(out).toMatch(/web, m +66\.0 +126\.0 +\+60\.0/)
    expect(out).toMatch(/speed asked for, m\/min +– +20\.0/)
  })

  it('say of a reel that its own threading uses up that no number of them is enough', async () => {
    const own = await weighed({ foils: [{ station: 'foil', foil: 'gold', lengthM: 1 }] })
    replies = [{ body: own }]
    await cli()
    expect(out).toContain('a reel of 1 m is used up by threading alone')
  })

  it('wait for layers that must be read first, and ask again', async () => {
    const work = { id: 'layer-sums-1', state: 'waiting', progress: 0, progressNote: '' }
    replies = [{ status: 202, body: work }, { body: { ...work, state: 'done' } }, { body: await weighed() }]
    expect(await cli('--json')).toBe(0)
    expect(asked.map(({ line }) => line)).toEqual([
      'POST /api/v1/lines/L1/sums',
      'GET /api/v1/work/layer-sums-1',
      'POST /api/v1/lines/L1/sums',
    ])
    expect(JSON.parse(out)).toMatchObject({ sums: { ticket: 'T1' } })
  })

  it('with a blocker are exit 1', async () => {
    const own = await weighed()
    replies = [{ body: { ...own, blockers: [{ code: 'roll-too-large', message: 'large', mend: 'split' }] } }]
    expect(await cli()).toBe(1)
    expect(out).toContain('blocker roll-too-large: large; split')
  })

  it('are not asked for with what is no number', async () => {
    expect(await cli('--speed', 'fast')).toBe(2)
    expect(await cli('--frames', '0')).toBe(2)
    expect(asked).toEqual([])
  })
})
