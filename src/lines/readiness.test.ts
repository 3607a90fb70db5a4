// Every code of readiness, each with a ticket, line or catalogue that earns it and one that does not.
import { describe, expect, it } from 'vitest'
import { handCatalogue, job, line, ticket, version } from '../../tests/fixtures/runs.ts'
import type { JobRecord, VersionRecord } from '../packages/index.ts'
import type { BlobCondition } from '../storage/port.ts'
import { freeze } from './freeze.ts'
import type { LineProfile } from './profile.ts'
import { readinessCodes, wantedVersions, weighReadiness } from './readiness.ts'

interface Case {
  readonly jobs?: readonly JobRecord[]
  readonly ticket?: object
  readonly line?: Partial<LineProfile>
  readonly condition?: (digest: string) => BlobCondition
}

const unreleased = { state: 'checked', releasedAtMs: undefined } as unknown as Partial<VersionRecord>
const plain = [job('J', [version('A', 1), version('F', 1)])]

function weigh(of: Case) {
  const given = ticket(of.ticket)
  return weighReadiness({
    ticket: given,
    line: { ...line, ...of.line },
    frozen: freeze(handCatalogue(of.jobs ?? plain).current(), given),
    condition: async (digest) => of.condition?.(digest) ?? 'sound',
  })
}

const firstLayer = plain[0]!.designs.get('A')![0]!.layers[0]!
const lostIndex = 'c'.repeat(64)
const noSkipping = { stations: line.stations.map((station) => ({ ...station, skips: station.station !== 'inkjet' })) }
const narrowFrame = { ...plain[0]!.frame, pitchMm: 70 }

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
    of: { line: { stations: line.stations.filter(({ station }) => station === 'inkjet') } },
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
  'damaged-layer': {
    of: { condition: (digest) => (digest === firstLayer.sha256 ? 'damaged' : 'sound') },
    row: { design: 'A', version: 1, layer: 'varnish' },
  },
}

describe('readiness', () => {
  it('is given where nothing stands against it', async () => {
    expect(await weigh({})).toEqual({ ready: true, blockers: [], warnings: [] })
  })

  it('has an example here for every code', () => {
    expect(Object.keys(blocked).toSorted()).toEqual([...readinessCodes].toSorted())
  })

  it.each(Object.entries(blocked))('is denied with %s', async (code, { of, row }) => {
    const { ready, blockers } = await weigh(of)
    expect(ready).toBe(false)
    expect([...new Set(blockers.map((blocker) => blocker.code))]).toEqual([code])
    expect(blockers[0]).toMatchObject({ code, ...row })
    expect(blockers[0]?.message.length).toBeGreaterThan(20)
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
