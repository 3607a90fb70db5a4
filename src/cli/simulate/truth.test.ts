// Truths: codes made by template and GS1 rules, taken from a sequence, shared by lanes and frames; and the troubles of reading them.
import { describe, expect, it } from 'vitest'
import type { SequenceLayout, Ticket } from '../../lines/index.ts'
import type { Manifest } from '../../packages/index.ts'
import { codeSpots } from './code-spots.ts'
import { openMaterial } from './material.ts'
import type { JobView } from './published.ts'
import { openReading } from './reading.ts'
import { scenarioSchema } from './scenario.ts'
import { type TruthParts, truthFromJobs, truthFromSequence } from './truth.ts'

const template: Manifest['code'] = {
  rule: 'template',
  symbologies: ['qr'],
  template: '{job}/{design}/{print:2}/{serial:6d}',
}
// Demonstration GTINs; check digits from memory of GS1's mod 10.
const gs1: Manifest['code'] = { rule: 'gs1', symbologies: ['data-matrix'], design: '01', print: '22', serial: '21' }

type Version = JobView['designs'][number]['versions'][number]

const version = (number: number, change: Partial<Version> = {}): Version => ({
  version: number,
  printVersions: ['01', '02'],
  packages: [number],
  releasedAtMs: 1,
  layers: [{ sha256: `${number}`.repeat(64), pass: 1 }] as unknown as Version['layers'],
  ...change,
})

const jobOf = (
  job: string,
  designs: readonly string[],
  {
    code = template,
    versions = [version(1)],
  }: { readonly code?: Manifest['code']; readonly versions?: readonly Version[] } = {},
): JobView => ({ job, code, frame: {} as JobView['frame'], designs: designs.map((design) => ({ design, versions })) })

const layout: SequenceLayout = { identifies: 'cell', cells: [1, 2], lanes: [[1], [2]] }

const scenarioOf = (more: object = {}) =>
  scenarioSchema.parse({
    schema: 'rollcall.scenario/1',
    title: 't',
    roll: { frames: 100 },
    line: { speeds: [{ from: 0, mPerMin: 10 }] },
    truth: { from: 'jobs' },
    ...more,
  })

const partsOf = (change: Partial<TruthParts> = {}): TruthParts => ({
  scenario: scenarioOf(),
  seed: 3,
  ticket: { ticket: 'T', jobs: [{ job: 'J' }], pass: 1, direction: 'as-printed' } as unknown as Ticket,
  jobs: [jobOf('J', ['LIME', 'PLUM'])],
  otherJobs: [],
  layout,
  ...change,
})

const fromJobs = (change: Partial<TruthParts> = {}, how: object = {}) =>
  truthFromJobs(partsOf(change), { from: 'jobs', blockFrames: 4, firstSerial: 1, ...how })

describe('a truth from jobs', () => {
  it('gives each label its own serial, and blocks of labels one design', () => {
    const truth = fromJobs()
    const texts = Array.from({ length: 100 }, (_, place) =>
      [1, 2].map((cell) => truth.labelAt(place, cell)?.text ?? ''),
    )
    expect(new Set(texts.flat()).size).toBe(200)
    for (const pair of texts) for (const text of pair) expect(text).toMatch(/^J\/(LIME|PLUM)\/02\/\d{6}$/)
    const designs = texts.map(([text = '']) => text.split('/')[1])
    for (let block = 0; block < 25; block++) expect(new Set(designs.slice(block * 4, block * 4 + 4)).size).toBe(1)
    expect(new Set(designs).size).toBe(2)
  })

  it('gives labels the version that is newest, fits and is released, or that is pinned', () => {
    const versions = [
      version(1),
      version(2),
      version(3, { printVersions: ['03'] }),
      { ...version(4), releasedAtMs: undefined } as unknown as Version,
    ]
    const jobs = [jobOf('J', ['LIME'], { versions })]
    const label = (ticket: object = {}, how: object = { print: '02' }) =>
      fromJobs({ jobs, ticket: { ...partsOf().ticket, ...ticket } }, how).labelAt(0, 1)?.own?.version
    expect(label()).toBe(2)
    expect(label({ jobs: [{ job: 'J', pins: [{ design: 'LIME', version: 1 }] }] })).toBe(1)
    expect(label({ jobs: [{ job: 'J', packages: [1] }] })).toBe(1)
    expect(label({}, { print: '03' })).toBe(3)
    expect(() => label({}, { print: '09' })).toThrow(
      'no design on ticket T has a released version for print version 09',
    )
  })

  it('writes GS1 element strings with the identifier that a scanner gives', () => {
    const truth = fromJobs({ jobs: [jobOf('J', ['09521234000013'], { code: gs1 })] })
    expect(truth.labelAt(0, 2)).toMatchObject({ text: '01095212340000132202\u001d212', symbology: ']d2' })
  })

  it('gives the cells of a lane, or of the frame, one code where codes stand for those', () => {
    const cells = [1, 2, 3, 4]
    const lanes = fromJobs({
      layout: {
        identifies: 'lane',
        cells,
        lanes: [
          [1, 3],
          [2, 4],
        ],
      },
    })
    const frame = fromJobs({
      layout: {
        identifies: 'frame',
        cells,
        lanes: [
          [1, 3],
          [2, 4],
        ],
      },
    })
    const serials = (truth: typeof frame) => cells.map((cell) => truth.labelAt(5, cell)?.text.slice(-2))
    expect(serials(lanes)).toEqual(['11', '12', '11', '12'])
    expect(serials(frame)).toEqual(['06', '06', '06', '06'])
  })

  it('misreads a code as that of another design, with a serial that no label has', () => {
    const truth = fromJobs()
    const [own, mistaken] = [truth.labelAt(7, 1), truth.mistaken(7, 1)]
    expect(mistaken?.text.split('/')[1]).not.toBe(own?.own?.design)
    expect(Number(mistaken?.text.slice(-6))).toBeGreaterThan(200)
    expect(fromJobs({ jobs: [jobOf('J', ['LIME'])] }).mistaken(7, 1)).toBeUndefined()
  })

  it('is refused where the rule cannot name so many serials, or is a table', () => {
    expect(() => fromJobs({}, { firstSerial: 999_999 }).labelAt(1, 1)).toThrow('no code of job J names design')
    const code = { rule: 'table', symbologies: ['qr'], file: 'codes.csv', sha256: '0'.repeat(64) } as Manifest['code']
    expect(() => fromJobs({ jobs: [jobOf('J', ['LIME'], { code })] }).labelAt(0, 1)).toThrow('stand in a table')
  })
})

describe('a truth from a sequence', () => {
  const rows = ['LIME', 'PLUM', 'LIME'].map((design, i) => new Map([[1, `J/${design}/01/00000${i}`]]))

  it('knows the design of each code, and nothing behind the end', () => {
    const truth = truthFromSequence(partsOf(), rows)
    expect(truth.labelAt(1, 1)).toMatchObject({ text: 'J/PLUM/01/000001', symbology: ']Q1', own: { design: 'PLUM' } })
    expect([truth.labelAt(1, 2), truth.labelAt(3, 1)]).toEqual([undefined, undefined])
    expect(truth.mistaken(0, 1)?.text).toBe('J/PLUM/01/000001')
  })

  it('is run from its end where the roll comes reversed', () => {
    const ticket = { ...partsOf().ticket, direction: 'reversed' } as Ticket
    expect(truthFromSequence(partsOf({ ticket }), rows).labelAt(0, 1)?.text).toBe('J/LIME/01/000002')
  })

  it('names a code that no job of the ticket knows', () => {
    const truth = truthFromSequence(partsOf(), [new Map([[1, 'K/LIME/01/000001']])])
    expect(() => truth.labelAt(0, 1)).toThrow('no job of ticket T knows the code of cell 1')
  })
})

describe('reading a web', () => {
  function readingOf(troubles: readonly object[], change: Partial<TruthParts> = {}) {
    const scenario = scenarioOf({ troubles })
    const parts = partsOf({ scenario, ...change })
    const truth = truthFromJobs(parts, { from: 'jobs', blockFrames: 4, firstSerial: 1 })
    const spots = codeSpots(parts.layout, (cell) => ((cell - 1) % 2) + 1)
    const material = openMaterial({ scenario, seed: 3, truth, pitchMm: 60, spots })
    const reading = openReading({ scenario, seed: 3, truth, material, spots })
    return {
      truth,
      material,
      ...reading,
      serials: (place: number) => reading.readsAt(place).map(({ text }) => text && Number(text.slice(-6))),
    }
  }

  it('gives one read a cell, a lane or a frame', () => {
    const cells = [1, 2, 3, 4]
    const lanes = [
      [1, 3],
      [2, 4],
    ]
    const names = (identifies: SequenceLayout['identifies']) =>
      readingOf([], { layout: { identifies, cells, lanes } })
        .readsAt(0)
        .map(({ cell, lane }) => [cell, lane])
    expect(names('cell')).toEqual(cells.map((cell) => [cell, undefined]))
    expect(names('lane')).toEqual([
      [undefined, 1],
      [undefined, 2],
    ])
    expect(names('frame')).toEqual([[undefined, undefined]])
  })

  it('plants no-reads, garbled and shifted codes where the scenario says, and says so', () => {
    const web = readingOf([
      { kind: 'no-read', from: 3, to: 4, cells: [2] },
      { kind: 'garbled', from: 6 },
      { kind: 'shift', from: 8, to: 20, frames: 1 },
    ])
    expect(web.serials(3)).toEqual([7, null])
    expect(web.readsAt(6)[0]?.text).toMatch(/^\?/)
    expect(web.serials(8)).toEqual([15, 16])
    const planted = [3, 5, 6, 8].map((place) => [1, 2].map((cell) => web.isPlanted(place, cell)))
    expect(planted).toEqual([
      [false, true],
      [false, false],
      [true, true],
      [true, true],
    ])
  })

  it('leaves out what a splice cut out, and shifts the marks behind it', () => {
    const web = readingOf([{ kind: 'splice', at: 10, framesCutOut: 5, phaseMm: 20 }])
    expect([web.serials(9), web.serials(10)]).toEqual([
      [19, 20],
      [31, 32],
    ])
    expect(web.material.markMm(10) - web.material.markMm(9)).toBeCloseTo(80, 0)
    expect(web.material.spliceAt(10)).toMatchObject({ framesCutOut: 5, told: true })
  })

  it('prints doubled codes and labels of other jobs on the web itself', () => {
    const web = readingOf(
      [
        { kind: 'duplicate', from: 12, back: 4 },
        { kind: 'other-job', from: 14, cells: [1], job: 'K' },
      ],
      { otherJobs: [jobOf('K', ['FIG'])] },
    )
    expect(web.serials(12)).toEqual(web.serials(8))
    expect(web.material.labelAt(12, 1)?.text).toBe(web.truth.labelAt(8, 1)?.text)
    expect(web.material.labelAt(14, 1)).toMatchObject({ text: expect.stringMatching(/^K\/FIG/), own: undefined })
    expect(web.material.labelAt(14, 2)?.own).toBeDefined()
  })
})
