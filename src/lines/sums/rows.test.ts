// Rows of the sums: each code with a ticket that earns it and the same one that does not.
import { describe, expect, it } from 'vitest'
import { artOf, inquiryOf, line } from '../../../tests/fixtures/sum-ticket.ts'
import type { LineProfile } from '../profile.ts'
import { type SumsRows, sumsCodes, sumsRows } from './rows.ts'
import { sumTicket } from './ticket-sums.ts'

const art = artOf(5)
const longReels = { foils: [{ station: 'foil', foil: 'gold', lengthM: 500 }] }

async function rowsOf(of: { line?: Partial<LineProfile>; ticket?: object; speedMPerMin?: number }): Promise<SumsRows> {
  const inquiry = inquiryOf(art, { expectedFrames: 2_000, ...longReels, ...of.ticket })
  const whatIf = of.speedMPerMin === undefined ? {} : { whatIf: { speedMPerMin: of.speedMPerMin } }
  return sumsRows(await sumTicket({ ...inquiry, ...whatIf, line: { ...line, ...of.line } }))
}

describe('rows of the sums', () => {
  it('are none for a roll that the line takes', async () => {
    expect(await rowsOf({})).toEqual({ blockers: [], warnings: [] })
  })

  it('say that layers stand higher than any row of the speed table, whose label it is, and what would mend it', async () => {
    const low = { ...line.speed, mPerMinMax: 100, byHeight: [{ heightUmMax: 80, mPerMinMax: 40 }] }
    const { blockers } = await rowsOf({ line: { speed: low } })
    expect(blockers).toEqual([
      {
        code: 'height-over-table',
        job: 'J',
        design: 'B',
        version: 1,
        message: expect.stringContaining('µm'),
        mend: expect.stringContaining('speed.byHeight'),
        measured: 95,
        limit: 80,
      },
    ])
  })

  it('say that no way is left to answer on', async () => {
    const { blockers } = await rowsOf({ line: { reading: { ...line.reading, lagMm: 3_000 } } })
    expect(blockers.map(({ code, measured }) => [code, measured])).toEqual([
      ['speed-over-ceiling', 1_500 - 20 - 19 - 3_000],
      ['speed-over-ceiling', 900 - 50 - 19 - 3_000],
    ])
  })

  it('say that the roll is too large before or after', async () => {
    // √(76² + 4 × 66,000 × 0.15 / π) = √18,381 = 135.6.
    const before = await rowsOf({ line: { unwind: { diameterMmMax: 100 } } })
    expect(before.blockers).toMatchObject([{ code: 'roll-too-large', limit: 100, measured: 135.6 }])
    const after = await rowsOf({ line: { rewind: { ...line.rewind, diameterMmMax: 140 } } })
    expect(after.blockers).toMatchObject([{ code: 'roll-too-large', limit: 140 }])
    expect(after.blockers[0]?.measured).toBeGreaterThan(140)
  })

  it('say where the ridge is that will not wind', async () => {
    const { blockers } = await rowsOf({ line: { rewind: { ridgeUmMax: 10 } } })
    expect(blockers).toMatchObject([
      { code: 'ridge-too-high', limit: 10, message: expect.stringMatching(/at [\d.]+ mm/) },
    ])
  })

  it('warn of a reel that does not reach, with how many would', async () => {
    const { blockers, warnings } = await rowsOf({ ticket: { foils: [{ station: 'foil', foil: 'gold', lengthM: 40 }] } })
    expect(blockers).toEqual([])
    expect(warnings).toMatchObject([
      { code: 'foil-short', measured: 40, limit: 73, mend: expect.stringContaining('2 reels') },
    ])
    const tiny = await rowsOf({ ticket: { foils: [{ station: 'foil', foil: 'gold', lengthM: 7 }] } })
    expect(tiny.warnings).toMatchObject([
      { code: 'foil-short', mend: expect.stringContaining('longer than its threading') },
    ])
  })

  it('warn of a speed above the ceiling, of a length that nobody knows and of layers that cannot be read', async () => {
    const fast = await rowsOf({ speedMPerMin: 41 })
    expect(fast.warnings).toMatchObject([{ code: 'speed-over-ceiling', measured: 41, limit: 40 }])
    const unknown = await rowsOf({ ticket: { expectedFrames: undefined } })
    expect(unknown.warnings).toMatchObject([{ code: 'nothing-expected' }])
    const sums = await sumTicket(inquiryOf(art, { expectedFrames: 5, ...longReels }))
    const lost = { job: 'J', design: 'A', version: 1, layer: 'gold', code: 'blob-damaged', message: 'rotted' }
    expect(sumsRows({ ...sums, unread: [lost] }).warnings).toEqual([
      { ...lost, code: 'layer-unread', message: expect.stringContaining('rotted'), mend: expect.any(String) },
    ])
  })

  it('have no code that is not earned here', () => {
    const earned = ['height-over-table', 'speed-over-ceiling', 'roll-too-large', 'ridge-too-high', 'foil-short']
    expect(sumsCodes.toSorted()).toEqual([...earned, 'nothing-expected', 'layer-unread'].toSorted())
  })
})
