// What a run may use is frozen from the catalogue and the ticket.
import { describe, expect, it } from 'vitest'
import { handCatalogue, job, ticket, version } from '../../tests/fixtures/runs.ts'
import { freeze, pinOf } from './freeze.ts'

const published = [
  job('J', [
    version('A', 1, { packages: [1], state: 'superseded' }),
    version('A', 2, { packages: [1, 2] }),
    version('B', 1, { packages: [2], withdrawnAtMs: 5, state: 'withdrawn' }),
    version('C', 1, { packages: [3], state: 'checked', releasedAtMs: undefined } as never),
  ]),
]
const freezeWith = (change: object) => freeze(handCatalogue(published).current(), ticket(change))
const named = (versions: readonly { design: string; version: number }[] = []) =>
  versions.map((row) => `${row.design}${row.version}`)

describe('freezing', () => {
  it('keeps all versions of the jobs that the ticket names, with what was done to them', () => {
    const [frozen] = freezeWith({}).jobs
    expect(
      frozen?.versions.map(({ design, version: number, released, withdrawn }) => [design, number, released, withdrawn]),
    ).toEqual([
      ['A', 1, true, false],
      ['A', 2, true, false],
      ['B', 1, true, true],
      ['C', 1, false, false],
    ])
  })

  it('leaves out a job that nothing is published of', () => {
    const frozen = freezeWith({ jobs: [{ job: 'J' }, { job: 'UNKNOWN' }] })
    expect(frozen.jobs.map((row) => row.job)).toEqual(['J'])
  })

  it('keeps only versions that an allowed package carries', () => {
    expect(named(freezeWith({ jobs: [{ job: 'J', packages: [2] }] }).jobs[0]?.versions)).toEqual(['A2', 'B1'])
    expect(named(freezeWith({ jobs: [{ job: 'J', packages: [9] }] }).jobs[0]?.versions)).toEqual([])
  })

  it('keeps the layers of the pass alone, in order of laying', () => {
    const both = version('F', 1)
    const layers = [...both.layers, { ...both.layers[0]!, layer: 'matte', pass: 2, order: 1 }]
    const catalogue = handCatalogue([job('J', [{ ...both, layers }])]).current()
    const layersOf = (pass: number) =>
      freeze(catalogue, ticket({ pass })).jobs[0]?.versions[0]?.layers.map(({ layer }) => layer)
    expect(layersOf(1)).toEqual(['mask', 'varnish'])
    expect(layersOf(2)).toEqual(['matte'])
    expect(layersOf(3)).toEqual([])
  })

  it('knows of earlier passes from the version itself; without serials, from all versions of its design', () => {
    const inPass = (number: number, pass: number) => {
      const made = version('A', number)
      return { ...made, layers: made.layers.map((layer) => ({ ...layer, pass })) }
    }
    const earlierOf = (template?: string) =>
      freeze(
        handCatalogue([job('J', [inPass(1, 1), inPass(2, 2)], template)]).current(),
        ticket({ pass: 2 }),
      ).jobs[0]?.versions.map(({ earlierPasses }) => earlierPasses)
    expect(earlierOf()).toEqual([[1], undefined])
    expect(earlierOf('{job}/{design}/{print:2}')).toEqual([[1], [1]])
  })

  it('takes over pins, the print version that codes do not name, and the revision', () => {
    const frozen = freezeWith({ jobs: [{ job: 'J', pins: [{ design: 'A', version: 1 }], printVersion: '02' }] })
    expect(frozen.jobs[0]).toMatchObject({ pins: { A: 1 }, printVersion: '02', carries: { print: true, serial: true } })
    expect(frozen.revision).toBe(1)
  })

  it('is JSON: what a run reads back from its ledger is what was frozen', () => {
    const frozen = freezeWith({ jobs: [{ job: 'J', pins: [{ design: 'A', version: 1 }] }] })
    expect(JSON.parse(JSON.stringify(frozen))).toEqual(frozen)
  })
})

describe('a pin', () => {
  it('is found by the name of its design, never by what every object has', () => {
    expect(pinOf({ pins: { A: 1 } }, 'A')).toBe(1)
    for (const design of ['B', 'constructor', 'toString', '__proto__'])
      expect(pinOf({ pins: { A: 1 } }, design)).toBeUndefined()
  })
})
