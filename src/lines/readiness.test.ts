// Every code of readiness, each with a ticket, line or catalogue that earns it and one that does not.
import { describe, expect, it } from 'vitest'
import { code, handCatalogue, job, line, ticket, version } from '../../tests/fixtures/runs.ts'
import { tallyOf } from '../../tests/fixtures/sequences.ts'
import type { JobRecord, VersionRecord } from '../packages/index.ts'
import type { BlobCondition } from '../storage/port.ts'
import { freeze } from './freeze.ts'
import type { LineProfile } from './profile.ts'
import { type ReadinessRows, readinessCodes, wantedVersions, weighReadiness } from './readiness.ts'
import { sumsCodes } from './sums/index.ts'

interface Case {
  readonly jobs?: readonly JobRecord[]
  readonly ticket?: object
  readonly line?: Partial<LineProfile>
  readonly condition?: (digest: string) => BlobCondition
  /** Codes by position, cell by cell; or what is wrong with the stored bytes. */
  readonly sequence?: readonly (readonly (string | null)[])[] | 'missing' | 'damaged'
  readonly more?: ReadinessRows
}

const unreleased = { state: 'checked', releasedAtMs: undefined } as unknown as Partial<VersionRecord>
const plain = [job('J', [version('A', 1), version('F', 1)])]

async function weigh(of: Case) {
  const given = ticket(of.ticket)
  const catalogue = handCatalogue(of.jobs ?? plain)
  const frozen = freeze(catalogue.current(), given)
  const { sequence, more } = of
  return weighReadiness({
    ticket: given,
    line: { ...line, ...of.line },
    frozen,
    condition: async (digest) => of.condition?.(digest) ?? 'sound',
    sequence: typeof sequence === 'object' ? await tallyOf(catalogue, { ticket: given, codes: sequence }) : sequence,
    more: more && (async () => more),
  })
}

const firstLayer = plain[0]!.designs.get('A')![0]!.layers[0]!
const lostIndex = 'c'.repeat(64)
const noSkipping = { stations: line.stations.map((station) => ({ ...station, skips: station.station !== 'inkjet' })) }
const narrowFrame = { ...plain[0]!.frame, pitchMm: 70 }

const chart = { chart: 'house', number: 3 }
const stationsWith = (change: object) => line.stations.map((station) => ({ ...station, ...change }))
const recalled = version('A', 1, { withdrawnAtMs: 3, state: 'withdrawn' })

const blocked: Record<string, { readonly of: Case; readonly row: object }> = {
  'job-not-published': { of: { ticket: { jobs: [{ job: 'J' }, { job: 'K' }] } }, row: { job: 'K' } },
  'nothing-released': { of: { jobs: [job('J', [version('A', 1, unreleased)])] }, row: { job: 'J' } },
  'version-not-released': {
    of: {
      jobs: [job('J', [version('A', 1), version('A', 2, unreleased)])],
      ticket: { jobs: [{ job: 'J', pins: [{ design: 'A', version: 2 }] }] },
    },
    row: { job: 'J', design: 'A', version: 2 },
  },
  'version-withdrawn': {
    of: { jobs: [job('J', [version('A', 1), version('A', 2, { withdrawnAtMs: 3, state: 'withdrawn' })])] },
    row: { design: 'A', version: 2 },
  },
  'pin-unknown': {
    of: { ticket: { jobs: [{ job: 'J', pins: [{ design: 'A', version: 7 }] }] } },
    row: { design: 'A', version: 7 },
  },
  'print-version-unstated': {
    of: { jobs: [job('J', [version('A', 1)], '{job}/{design}/{serial:6d}')] },
    row: { job: 'J' },
  },
  'geometry-differs': {
    of: {
      jobs: [...plain, { ...job('K', [version('Z', 1)]), frame: narrowFrame }],
      ticket: { jobs: [{ job: 'J' }, { job: 'K' }] },
    },
    row: { job: 'K' },
  },
  'substrate-not-allowed': { of: { ticket: { substrate: 'kraft' } }, row: { measured: 'kraft', limit: 'pp-white' } },
  'web-too-wide': { of: { line: { webWidthMmMax: 109 } }, row: { measured: 110, limit: 109 } },
  'station-missing': {
    of: { line: { stations: line.stations.filter(({ station }) => station === 'inkjet') }, ticket: { foils: [] } },
    row: { design: 'F', layer: 'mask' },
  },
  'resolution-mismatch': {
    of: {
      line: {
        stations: line.stations.map((station) =>
          station.resolution ? { ...station, resolution: { acrossDpi: 360, alongDpi: 720 } } : station,
        ),
      },
    },
    row: { design: 'A', layer: 'varnish', measured: '360 × 360', limit: '360 × 720' },
  },
  'height-over-limit': { of: { line: { heightUmMax: 59 } }, row: { measured: 60, limit: 59 } },
  'foil-not-threaded': { of: { ticket: { foils: [] } }, row: { design: 'F', layer: 'mask' } },
  'layers-not-common': { of: { line: noSkipping }, row: { measured: 2, limit: 1 } },
  'missing-layer': {
    of: { condition: (digest) => (digest === firstLayer.sha256 ? 'missing' : 'sound') },
    row: { design: 'A', version: 1, layer: 'varnish' },
  },
  'code-table-lost': {
    of: {
      jobs: [{ ...plain[0]!, codeIndexes: [lostIndex] }],
      condition: (digest) => (digest === lostIndex ? 'missing' : 'sound'),
    },
    row: { job: 'J', measured: 'missing' },
  },
  'unknown-code': {
    of: {
      sequence: [
        [code('A', 1), 'nobody'],
        ['nothing', code('F', 2)],
      ],
    },
    row: {
      labels: 2,
      examples: [
        { position: 0, cell: 2, code: 'nobody' },
        { position: 1, cell: 1, code: 'nothing' },
      ],
    },
  },
  'other-job': {
    of: { jobs: [...plain, job('K', [version('Z', 1)])], sequence: [[code('A', 1), code('Z', 1, '01', 'K')]] },
    row: { job: 'K', labels: 1 },
  },
  'print-version-mismatch': {
    of: { sequence: [[code('A', 1), code('A', 2, '09')]] },
    row: { job: 'J', design: 'A', print: '09', labels: 1 },
  },
  'sequence-lost': { of: { sequence: 'missing' }, row: { measured: 'missing' } },
  'sequence-bad': { of: { sequence: [[code('A', 1), code('A', 2), code('A', 3)]] }, row: { measured: 1, limit: 0 } },
  'height-out-of-range': {
    of: { line: { stations: stationsWith({ heightUm: { min: 70, max: 90 } }) } },
    row: { measured: 60, limit: '70 to 90' },
  },
  'foil-out-of-reach': {
    of: { ticket: { foils: [{ station: 'foil', foil: 'gold', leftMm: 50, widthMm: 60 }] } },
    row: { design: 'F', layer: 'mask', measured: '2 to 52', limit: '50 to 110' },
  },
  'reel-unfit': {
    of: { ticket: { foils: [{ station: 'foil', foil: 'gold', leftMm: 0, widthMm: 111 }] } },
    row: { measured: 111, limit: 110 },
  },
  'orientation-impossible': { of: { ticket: { unwind: chart } }, row: { measured: 'chart-unknown' } },
  'damaged-layer': {
    of: { condition: (digest) => (digest === firstLayer.sha256 ? 'damaged' : 'sound') },
    row: { design: 'A', version: 1, layer: 'varnish' },
  },
}

describe('readiness', () => {
  it('is given where nothing stands against it', async () => {
    expect(await weigh({})).toEqual({ ready: true, blockers: [], warnings: [] })
  })

  it('has an example here for every code but those of others and of mere warnings', () => {
    const ofPasses = ['earlier-pass-missing', 'earlier-pass-open', 'codes-without-serial', 'orientation-across-passes']
    const warnings = ['version-superseded', 'code-twice', 'frames-differ', 'sequence-gaps']
    const known = [...Object.keys(blocked), ...sumsCodes, ...ofPasses, ...warnings]
    expect(known.toSorted()).toEqual([...readinessCodes].toSorted())
  })

  it.each(Object.entries(blocked))('is denied with %s', async (code, { of, row }) => {
    const { ready, blockers } = await weigh(of)
    expect(ready).toBe(false)
    expect([...new Set(blockers.map((blocker) => blocker.code))]).toEqual([code])
    expect(blockers[0]).toMatchObject({ code, ...row })
    expect(blockers[0]?.message.length).toBeGreaterThan(20)
    expect(blockers[0]?.mend.length).toBeGreaterThan(20)
  })

  it('takes the rows of others in', async () => {
    const row = { code: 'foil-short' as const, message: 'short', mend: 'take a longer one' }
    const more = { blockers: [row], warnings: [{ ...row, message: 'nearly short' }] }
    expect(await weigh({ more })).toEqual({ ready: false, ...more })
  })

  it('names every blocker at once', async () => {
    const { blockers } = await weigh({ ticket: { substrate: 'kraft', foils: [] }, line: { webWidthMmMax: 10 } })
    expect(blockers.map(({ code }) => code)).toEqual(['substrate-not-allowed', 'web-too-wide', 'foil-not-threaded'])
  })

  it('only warns of a design of which nothing is released yet', async () => {
    const jobs = [job('J', [version('A', 1), version('N', 1, unreleased)])]
    const { ready, warnings } = await weigh({ jobs })
    expect(ready).toBe(true)
    expect(warnings).toEqual([expect.objectContaining({ code: 'version-not-released', design: 'N', version: 1 })])
  })

  it('says nothing of an unreleased version above a released one', async () => {
    expect(await weigh({ jobs: [job('J', [version('A', 1), version('A', 2, unreleased)])] })).toMatchObject({
      ready: true,
      warnings: [],
    })
  })

  it('takes a print version from the ticket where codes name none', async () => {
    const jobs = [job('J', [version('A', 1)], '{job}/{design}/{serial:6d}')]
    expect((await weigh({ jobs, ticket: { jobs: [{ job: 'J', printVersion: '01' }] } })).ready).toBe(true)
  })

  it('looks at the bytes of what may be laid alone, once each', async () => {
    const looked: string[] = []
    const shared = version('A', 1)
    const jobs = [job('J', [shared, { ...version('B', 1), layers: shared.layers }, version('N', 1, unreleased)])]
    await weigh({
      jobs,
      condition: (digest) => {
        looked.push(digest)
        return 'sound'
      },
    })
    expect(looked).toEqual(shared.layers.map(({ sha256 }) => sha256))
  })

  it('lets a station that cannot skip lay the same bytes on every label', async () => {
    const { layers } = version('A', 1)
    const jobs = [job('J', [version('A', 1), { ...version('B', 1), layers }])]
    expect((await weigh({ jobs, line: noSkipping })).ready).toBe(true)
  })

  it('takes a resolution as it comes where the station has none', async () => {
    const stations = line.stations.map(({ resolution: _none, ...station }) => station)
    expect((await weigh({ line: { stations } })).ready).toBe(true)
  })
})

describe('readiness over a sequence', () => {
  const roll = (frames: number) => Array.from({ length: frames }, (_, i) => [code('A', 2 * i), code('F', 2 * i + 1)])

  it('counts the labels of each version', async () => {
    expect(await weigh({ sequence: roll(50) })).toEqual({
      ready: true,
      blockers: [],
      warnings: [],
      expected: {
        positions: 50,
        labels: 100,
        versions: ['A', 'F'].map((design) => ({ job: 'J', design, version: 1, labels: 50 })),
      },
    })
  })

  it('heeds only what stands on the roll', async () => {
    const jobs = [
      job('J', [
        version('A', 1),
        version('B', 1, { withdrawnAtMs: 3, state: 'withdrawn' }),
        version('N', 1, unreleased),
      ]),
    ]
    expect((await weigh({ jobs, sequence: [[code('A', 1), code('A', 2)]] })).ready).toBe(true)
    const { blockers } = await weigh({
      jobs,
      sequence: [
        [code('N', 1), code('B', 2)],
        [code('N', 3), code('A', 4)],
      ],
    })
    expect(blockers.map(({ code, design, labels }) => [code, design, labels])).toEqual([
      ['version-not-released', 'N', 2],
      ['version-withdrawn', 'B', 1],
    ])
    expect(blockers[0]?.mend).toContain('rollcall release J --design N --version 1 ')
  })

  it('says how many labels a layer that cannot be laid concerns', async () => {
    const { blockers } = await weigh({ sequence: roll(5), ticket: { foils: [] } })
    expect(blockers).toEqual([
      expect.objectContaining({
        code: 'foil-not-threaded',
        labels: 5,
        examples: [0, 1, 2].map((position) => ({ position, cell: 2, code: code('F', 2 * position + 1) })),
      }),
    ])
  })

  it('asks of a reel only to lie over the cells where its foil is wanted', async () => {
    const foils = [{ station: 'foil', foil: 'gold', leftMm: 50, widthMm: 60 }]
    expect((await weigh({ sequence: roll(2), ticket: { foils } })).ready).toBe(true)
    // Bottom first, cell 2 is on the left.
    const turned = await weigh({ sequence: roll(2), ticket: { foils, leadEdge: 'bottom' } })
    expect(turned.blockers).toEqual([expect.objectContaining({ code: 'foil-out-of-reach', measured: '4 to 54' })])
  })

  it('never takes an older version for one that was recalled', async () => {
    const jobs = [job('J', [version('A', 1), { ...recalled, version: 2 }])]
    const { blockers } = await weigh({ jobs, sequence: [[code('A', 1), code('A', 2)]] })
    expect(blockers).toEqual([expect.objectContaining({ code: 'version-withdrawn', version: 2, labels: 2 })])
  })

  it('warns of pins that are not the newest fit, of serials that stand twice, of another number of frames', async () => {
    const jobs = [job('J', [version('A', 1), version('A', 2)])]
    const pinned = { jobs: [{ job: 'J', pins: [{ design: 'A', version: 1 }] }], expectedFrames: 3 }
    const { ready, warnings } = await weigh({
      jobs,
      ticket: pinned,
      sequence: [
        [code('A', 1), code('A', 2)],
        [code('A', 2), code('A', 1)],
      ],
    })
    expect(ready).toBe(true)
    expect(warnings.map(({ code, labels, measured, limit }) => [code, labels, measured, limit])).toEqual([
      ['version-superseded', 4, 1, undefined],
      ['code-twice', 2, 2, 0],
      ['frames-differ', undefined, 2, 3],
    ])
    expect(warnings[1]?.examples).toEqual([
      { position: 1, cell: 1, code: code('A', 2) },
      { position: 1, cell: 2, code: code('A', 1) },
    ])
  })

  it('warns of cells and positions that the sequence leaves out, and says where', async () => {
    const a = (serial: number) => code('A', serial)
    const { ready, warnings } = await weigh({ sequence: [[a(1), a(2)], [a(3), null], [], [], [a(4), a(5)]] })
    expect(ready).toBe(true)
    expect(warnings).toEqual([
      expect.objectContaining({ code: 'sequence-gaps', measured: '1 cells, 2 positions', limit: 0 }),
    ])
    expect(warnings[0]?.message).toContain('first cell 2 at 1; and positions between others, first 2')
  })

  it('tells the first 100 rows of a code and counts the others, whatever print versions the codes name', async () => {
    const sequence = Array.from({ length: 80 }, (_, i) => [
      code('A', 2 * i, String(10 + 2 * i).padStart(3, '0')),
      code('A', 2 * i + 1, String(11 + 2 * i).padStart(3, '0')),
    ])
    const jobs = [job('J', [version('A', 1)], '{job}/{design}/{print:3}/{serial:6d}')]
    const { ready, blockers } = await weigh({ jobs, sequence })
    expect(ready).toBe(false)
    expect(blockers).toHaveLength(101)
    expect(blockers[99]).toMatchObject({ code: 'print-version-mismatch', print: '109', labels: 1 })
    expect(blockers[100]).toMatchObject({ code: 'print-version-mismatch', measured: 160, limit: 100 })
    expect(blockers[100]?.message).toContain('60 more')
  })

  it('counts one code for a frame once a cell, and its serial once a cell', async () => {
    const jobs = plain.map((row) => ({
      ...row,
      frame: { ...row.frame, codeAt: { ...row.frame.codeAt, identifies: 'frame' as const } },
    }))
    expect(await weigh({ jobs, sequence: [[code('A', 1)], [code('A', 2)]] })).toMatchObject({
      ready: true,
      warnings: [],
      expected: { positions: 2, labels: 4 },
    })
  })

  it('warns of a pin that is not the newest fit without a sequence too', async () => {
    const jobs = [job('J', [version('A', 1), version('A', 2)])]
    const { warnings } = await weigh({ jobs, ticket: { jobs: [{ job: 'J', pins: [{ design: 'A', version: 1 }] }] } })
    expect(warnings).toEqual([expect.objectContaining({ code: 'version-superseded', version: 1, limit: 2 })])
  })
})

describe('the versions wanted', () => {
  const wanted = (versions: readonly VersionRecord[], pins: { design: string; version: number }[] = []) => {
    const given = ticket({ jobs: [{ job: 'J', pins }] })
    const [frozen] = freeze(handCatalogue([job('J', versions)]).current(), given).jobs
    return wantedVersions(frozen!).map((row) => `${row.design}${row.version}`)
  }

  it('are the highest released ones that fit each print version', () => {
    expect(wanted([version('A', 1), version('A', 2, { printVersions: ['02'] })])).toEqual(['A1', 'A2'])
    expect(wanted([version('A', 1), version('A', 2)])).toEqual(['A2'])
    expect(wanted([version('A', 1), version('A', 2, unreleased)])).toEqual(['A1'])
  })

  it('are never replaced by an older one when they were withdrawn', () => {
    expect(wanted([version('A', 1), version('A', 2, { withdrawnAtMs: 3, state: 'withdrawn' })])).toEqual(['A2'])
  })

  it('are the pinned ones where the ticket pins', () => {
    const versions = [version('A', 1), version('A', 2), version('B', 1)]
    expect(wanted(versions, [{ design: 'A', version: 1 }])).toEqual(['A1', 'B1'])
  })

  it('take a design whose name every object has for a design like any other', () => {
    expect(wanted([version('constructor', 1)])).toEqual(['constructor1'])
  })
})
