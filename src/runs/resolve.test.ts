// From a text to a version: pins, print versions, withdrawn and unreleased versions, texts that two jobs claim, labels of other jobs.
import { describe, expect, it } from 'vitest'
import { handCatalogue, job, ticket, version } from '../../tests/fixtures/runs.ts'
import { freeze } from '../lines/index.ts'
import type { JobRecord, VersionRecord } from '../packages/index.ts'
import { openResolver, type Resolution } from './resolve.ts'

const unreleased = { state: 'checked', releasedAtMs: undefined } as unknown as Partial<VersionRecord>
const withdrawn = { state: 'withdrawn', withdrawnAtMs: 3 } as const

function resolverOf(published: readonly JobRecord[], jobs: object[] = [{ job: 'J' }]) {
  const catalogue = handCatalogue(published)
  const frozen = freeze(catalogue.current(), ticket({ jobs }))
  const ruled = frozen.jobs.map((row) => ({
    job: row,
    rule: published.find(({ job: name }) => name === row.job)!.rule,
  }))
  const own = new Set(frozen.jobs.map((row) => row.job))
  const outside = () => [...catalogue.current().jobs.values()].filter((row) => !own.has(row.job))
  return { catalogue, resolver: openResolver(ruled, outside) }
}

function short(resolution: Resolution): string {
  if (resolution.kind === 'unknown') return 'unknown'
  const { job: of, design } = resolution.identity
  if (resolution.kind === 'other-job') return `other-job ${of}/${design}`
  const { version: chosen, flags, layers } = resolution.choice
  return [`${design} v${chosen?.version ?? '–'}`, ...flags, `${layers.length} layers`].join(' ')
}

const resolve = (versions: readonly VersionRecord[], text: string, row: object = {}) =>
  short(resolverOf([job('J', versions)], [{ job: 'J', ...row }]).resolver.resolve(text, ']Q1', 1))

describe('the version of a label', () => {
  const two = [version('A', 1), version('A', 2, { printVersions: ['02'] })]

  it('is the highest released one that fits its print version', () => {
    expect(resolve(two, 'J/A/01/000001')).toBe('A v1 1 layers')
    expect(resolve(two, 'J/A/02/000001')).toBe('A v2 1 layers')
  })

  it('is none where no released one fits the print version', () => {
    expect(resolve(two, 'J/A/03/000001')).toBe('A v– print-version-mismatch 0 layers')
  })

  it('is never one that was only checked', () => {
    expect(resolve([version('A', 1), version('A', 2, unreleased)], 'J/A/02/000001')).toBe('A v1 1 layers')
    expect(resolve([version('A', 1, unreleased)], 'J/A/02/000001')).toBe('A v– not-released 0 layers')
    // Nothing of the design is released, so what it fits is no matter.
    expect(resolve([version('A', 1, unreleased)], 'J/A/09/000001')).toBe('A v– not-released 0 layers')
  })

  it('is the withdrawn one, never an older one in its place', () => {
    expect(resolve([version('A', 1), version('A', 2, withdrawn)], 'J/A/02/000001')).toBe('A v2 withdrawn 1 layers')
  })

  it('is the pinned one, marked superseded where a newer one fits', () => {
    const pins = [{ design: 'A', version: 1 }]
    expect(resolve(two, 'J/A/02/000001', { pins })).toBe('A v1 superseded 1 layers')
    expect(resolve(two, 'J/A/01/000001', { pins })).toBe('A v1 1 layers')
  })

  it('is none where the pinned one does not fit or is not released', () => {
    expect(resolve(two, 'J/A/01/000001', { pins: [{ design: 'A', version: 2 }] })).toBe('A v– not-released 0 layers')
    const open = [version('A', 1), version('A', 2, unreleased)]
    expect(resolve(open, 'J/A/02/000001', { pins: [{ design: 'A', version: 2 }] })).toBe('A v2 not-released 0 layers')
  })

  it('may be an older one where the ticket pins around a recall', () => {
    const versions = [version('A', 1), version('A', 2, withdrawn)]
    expect(resolve(versions, 'J/A/02/000001', { pins: [{ design: 'A', version: 1 }] })).toBe('A v1 superseded 1 layers')
  })

  it('comes from the packages that the ticket allows alone', () => {
    const versions = [version('A', 1, { packages: [1] }), version('A', 2, { packages: [2] })]
    expect(resolve(versions, 'J/A/02/000001', { packages: [1] })).toBe('A v1 1 layers')
    expect(resolve(versions, 'J/A/02/000001', { packages: [1, 2] })).toBe('A v2 1 layers')
  })

  it('follows the print version of the ticket where the code names none', () => {
    const jobs = [job('J', two, '{job}/{design}/{serial:6d}')]
    const by = (printVersion: string) =>
      short(resolverOf(jobs, [{ job: 'J', printVersion }]).resolver.resolve('J/A/000001', ']Q1', 1))
    expect(by('01')).toBe('A v1 1 layers')
    expect(by('02')).toBe('A v2 1 layers')
    expect(by('07')).toBe('A v– print-version-mismatch 0 layers')
  })

  it('is found for a design whose name every object has', () => {
    expect(resolve([version('constructor', 1)], 'J/constructor/01/000001')).toBe('constructor v1 1 layers')
  })

  it('comes with all that was read and the layers in order, in µm', () => {
    const resolution = resolverOf([job('J', [version('F', 1)])]).resolver.resolve('J/F/01/000042', ']Q1', 1)
    expect(resolution).toMatchObject({
      kind: 'label',
      identity: { job: 'J', text: 'J/F/01/000042', design: 'F', print: '01', serial: '000042', version: 1 },
    })
    expect(resolution.kind === 'label' && resolution.choice.layers).toMatchObject([
      { layer: 'mask', order: 1, placement: { leftUm: 0, topUm: 0, widthUm: 50_000, heightUm: 54_000 } },
      { layer: 'varnish', order: 2 },
    ])
  })
})

describe('a text', () => {
  const published = [job('J', [version('A', 1)]), job('K', [version('Z', 1)])]

  it('of another published job is known for what it is when that job has its design', () => {
    const { resolver } = resolverOf(published)
    expect(short(resolver.resolve('K/Z/01/000001', ']Q1', 1))).toBe('other-job K/Z')
    expect(short(resolver.resolve('K/Q/01/000001', ']Q1', 1))).toBe('unknown')
  })

  it('of a job that is published during the run is known from then on', () => {
    const { resolver, catalogue } = resolverOf(published)
    expect(short(resolver.resolve('M/Y/01/000001', ']Q1', 1))).toBe('unknown')
    catalogue.change([...published, job('M', [version('Y', 1)])])
    expect(short(resolver.resolve('M/Y/01/000001', ']Q1', 1))).toBe('other-job M/Y')
  })

  it('that two jobs of the ticket claim names nothing', () => {
    const template = 'X/{design}/{print:2}/{serial:6d}'
    const both = [job('J', [version('A', 1)], template), job('K', [version('A', 1), version('B', 1)], template)]
    const { resolver } = resolverOf(both, [{ job: 'J' }, { job: 'K' }])
    expect(short(resolver.resolve('X/A/01/000001', ']Q1', 1))).toBe('unknown')
    // Only one of them has this design.
    expect(short(resolver.resolve('X/B/01/000001', ']Q1', 1))).toBe('B v1 1 layers')
  })

  it('of this ticket is its own even when another job would take it too', () => {
    const template = 'X/{design}/{print:2}/{serial:6d}'
    const both = [job('J', [version('A', 1)], template), job('K', [version('A', 1)], template)]
    expect(short(resolverOf(both).resolver.resolve('X/A/01/000001', ']Q1', 1))).toBe('A v1 1 layers')
  })

  it('in a symbology that the job does not use is none of its codes', () => {
    const { resolver } = resolverOf(published)
    expect(short(resolver.resolve('J/A/01/000001', ']C1', 1))).toBe('unknown')
    expect(short(resolver.resolve('J/A/01/000001', undefined, 1))).toBe('A v1 1 layers')
  })

  it('with a design that the job has not is unknown, as is one that fits no rule', () => {
    const { resolver } = resolverOf(published)
    expect(short(resolver.resolve('J/Q/01/000001', ']Q1', 1))).toBe('unknown')
    expect(short(resolver.resolve('', ']Q1', 1))).toBe('unknown')
    expect(short(resolver.resolve('J/A/01/00001', ']Q1', 1))).toBe('unknown')
  })
})
