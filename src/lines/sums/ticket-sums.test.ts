// A whole ticket's sums against a recomputation by brute force: every pixel of every label put on the web, one by one, and a sheet of
// plain arithmetic that knows none of the formulas' code.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { artOf, curve, draw, frame, inquiryOf } from '../../../tests/fixtures/sum-ticket.ts'
import { Problem } from '../../kernel/problem.ts'
import { sumTicket } from './ticket-sums.ts'

type Art = ReturnType<typeof artOf>
type Layer = Art['A'][number]

const curved = (gray: number): number => {
  const share = gray / 255
  const [, middle, end] = curve as [object, { gray: number; height: number }, { gray: number; height: number }]
  if (share <= middle.gray) return (share / middle.gray) * middle.height
  return middle.height + ((share - middle.gray) / (end.gray - middle.gray)) * (end.height - middle.height)
}

// Cured µm at one pixel of a layer: the inkjet through its curve, the flood straight, adhesive 4 µm wet with 10 % lost.
function umAt({ layer, drawn }: Layer, at: number): number {
  const gray = drawn.gray[at] ?? 0
  if (layer.station === 'foil') return gray > 0 ? 4 * 0.9 : 0
  return (layer.heightUm ?? 0) * (layer.station === 'inkjet' ? curved(gray) : gray / 255)
}

const widthPx = 500
const heightPx = 300

/** The web of one frame, in tenths of a millimetre, with one design in one cell (0: none) and the flood beneath if wanted. */
function paint(layers: readonly Layer[], cellNumber: number, floods: boolean): Float64Array {
  const web = new Float64Array(widthPx * heightPx)
  const cell = frame.cells.find((row) => row.cell === cellNumber)
  for (const layer of layers) {
    if (layer.layer.scope === 'common' ? !floods : !cell) continue
    for (let y = 0; y < layer.drawn.heightPx; y += 1) {
      for (let x = 0; x < layer.drawn.widthPx; x += 1) {
        let [px, py] = [layer.leftMm * 10 + x, layer.topMm * 10 + y]
        if (layer.layer.scope === 'cell' && cell) {
          // A quarter turn clockwise brings a label's left upper corner to the right: x counts down the web, y from the right edge.
          const isTurned = cell.rotateDeg === 90
          const [left, top, right] = [cell.leftMm * 10, cell.topMm * 10, (cell.leftMm + cell.widthMm) * 10]
          ;[px, py] = isTurned ? [right - 1 - py, top + px] : [left + px, top + py]
        }
        const at = Math.round(py) * widthPx + Math.round(px)
        web[at] = (web[at] ?? 0) + umAt(layer, y * layer.drawn.widthPx + x)
      }
    }
  }
  return web
}

const greatest = (values: Float64Array): number => values.reduce((top, value) => Math.max(top, value), 0)

/** Mean of each tenth of a millimetre across, over the pitch. */
const columnMeans = (web: Float64Array): number[] =>
  Array.from({ length: widthPx }, (_, x) => {
    let sum = 0
    for (let y = 0; y < heightPx; y += 1) sum += web[y * widthPx + x] ?? 0
    return sum / heightPx
  })

const volume = (layer: Layer): number => layer.drawn.gray.reduce((sum, _, at) => sum + umAt(layer, at), 0) * 0.01 * 1e-6
const area = (layer: Layer): number => layer.drawn.gray.filter((gray) => gray > 0).length * 0.01

const frames = 2_000
const labels = { A: 3_000, B: 1_000 }
// As a sequence counts them: a row a print version.
const counts = (['A', 'B'] as const).flatMap((design) =>
  [0.25, 0.75].map((part) => ({ job: 'J', design, version: 1, labels: labels[design] * part })),
)
// Blocks of half a millimetre: the maps of maxima then hold each block in a tile of its own, and the bound is exact.
const art = artOf(5)
const sumsOf = (more: object = {}, change: object = {}) =>
  sumTicket({ ...inquiryOf(art, change), counts, framesExpected: frames, ...more })

describe('the sums of a ticket', () => {
  it('put as much varnish and adhesive on each label as its pixels say', async () => {
    const { designs } = await sumsOf()
    const [flood, mask, relief] = art.A as [Layer, Layer, Layer]
    const ml = (design: string, fluid: string, station: string): number =>
      designs
        .find((row) => row.design === design)
        ?.perLabel.find((row) => row.fluid === fluid && row.station === station)?.ml ?? 0
    // Wet: the cured volume over what is left of it. The flood is laid once a frame, for two labels.
    expect(ml('A', 'varnish', 'inkjet')).toBeCloseTo(volume(relief) / 0.8, 12)
    expect(ml('B', 'varnish', 'inkjet')).toBeCloseTo(volume(art.B[1] as Layer) / 0.8, 12)
    expect(ml('A', 'varnish', 'flexo')).toBeCloseTo(volume(flood) / 0.9 / 2, 12)
    expect(ml('A', 'adhesive', 'flexo')).toBeCloseTo(area(mask) * 4 * 1e-6, 12)
    expect(ml('B', 'adhesive', 'flexo')).toBe(0)
    expect(designs.map((row) => [row.design, row.labels, Number(row.foilMm2.toFixed(6))])).toEqual([
      ['A', 3_000, Number(area(mask).toFixed(6))],
      ['B', 1_000, 0],
    ])
  })

  it('take for the roll what its labels, its 6 m of set-up and its purges take', async () => {
    const { stations, extent } = await sumsOf()
    expect(extent).toMatchObject({ frames, from: 'sequence', labels: 4_000, runM: 60, setUpM: 6, webM: 66 })
    const [flood, mask, reliefA] = art.A as [Layer, Layer, Layer]
    const inkjet = (3_000 * volume(reliefA) + 1_000 * volume(art.B[1] as Layer)) / 0.8
    const adhesive = 3_000 * area(mask) * 4 * 1e-6
    const varnish = (frames * volume(flood)) / 0.9
    const shown = stations.map(({ station, fluid, laidMl, setUpMl, purgeMl, ml }) => [
      `${fluid} ${station}`,
      ...[laidMl, setUpMl, purgeMl, ml].map((value) => value.toFixed(9)),
    ])
    // Set-up is a tenth of the run proper.
    const sheet = [
      ['varnish flexo', varnish, varnish / 10, 0],
      ['adhesive flexo', adhesive, adhesive / 10, 0],
      ['varnish inkjet', inkjet, inkjet / 10, 9],
    ].map(([name, ...parts]) => {
      const numbers = parts as number[]
      return [name, ...[...numbers, numbers.reduce((a, b) => a + b, 0)].map((value) => value.toFixed(9))]
    })
    expect(shown.toSorted()).toEqual(sheet.toSorted())
  })

  it('run every reel of a closed nip with the web, and say how many of its length it takes', async () => {
    const { reels } = await sumsOf()
    const [, mask] = art.A as [Layer, Layer]
    // 66 m of web from reels of 40 m that give 33 m each: two, and two threadings.
    expect(reels).toEqual([
      {
        station: 'foil',
        foil: 'gold',
        leftMm: 0,
        widthMm: 24,
        usedM: 80,
        usedM2: 1.92,
        neededM: 73,
        laidM2: expect.closeTo((3_300 * area(mask)) / 1e6, 9),
        reelM: 40,
        suffices: false,
        reels: 2,
      },
      { station: 'foil', foil: 'silver', leftMm: 26, widthMm: 20, usedM: 73, usedM2: 1.46, neededM: 73, laidM2: 0 },
    ])
  })

  it('find the highest place of any label in any cell over the flood', async () => {
    const { peak, designs } = await sumsOf()
    const peakOf = (layers: readonly Layer[]): number =>
      Math.max(...[1, 2].map((cell) => greatest(paint(layers, cell, true))))
    expect(designs.map(({ peakUm }) => peakUm.toFixed(9))).toEqual([art.A, art.B].map((of) => peakOf(of).toFixed(9)))
    expect(peak).toMatchObject({ design: 'B', um: expect.closeTo(peakOf(art.B), 9) })
  })

  it('find the place across where the web grows thickest, and wind the roll by it', async () => {
    const { ridge, roll } = await sumsOf()
    const flood = columnMeans(paint(art.A, 0, true))
    const means = [1, 2].flatMap((cell) => [
      { part: 0.75, means: columnMeans(paint(art.A, cell, false)) },
      { part: 0.25, means: columnMeans(paint(art.B, cell, false)) },
    ])
    const web = flood.map((um, x) => means.reduce((sum, row) => sum + row.part * (row.means[x] ?? 0), um))
    const highest = Math.max(...web)
    expect(ridge.meanUmMax).toBeCloseTo(highest, 9)
    expect(ridge.differenceUm).toBeCloseTo(highest - Math.min(...web), 9)
    expect(Math.floor(ridge.atMm * 10)).toBeGreaterThanOrEqual(web.indexOf(highest) - 3)
    expect(web[Math.round(ridge.atMm * 10)]).toBeCloseTo(highest, 9)
    // 66 m of 0.15 mm on 76 mm, seen edge on: its side is the core's and 66,000 mm × (0.15 + ridge).
    const side = (mm: number): number => (Math.PI / 4) * mm ** 2
    expect(side(roll?.rewoundMm ?? 0)).toBeCloseTo(side(76) + 66_000 * (0.15 + highest / 1000), 6)
    expect(side(roll?.unwindMm ?? 0)).toBeCloseTo(side(76) + 66_000 * 0.15, 6)
  })

  it('list every limit of the speed, with the one that binds and the next', async () => {
    const { speed } = await sumsOf()
    // Code: far edge 15 mm below its label's leading edge in cell 1; in cell 2, turned, its right edge at 19 mm is the far one.
    const answerWayMm = 1_500 - 20 - 19 - 6
    const stopWayMm = 900 - 50 - 19 - 6
    const brakes = (v: number): number => v * 0.39 + v ** 2 / 3
    const limits = Object.fromEntries(speed.limits.map(({ limit, mPerMin }) => [limit, mPerMin]))
    expect(limits).toEqual({
      line: 100,
      height: 40,
      nip: 55,
      cure: 70,
      frames: expect.closeTo(0.03 * 30 * 60, 9),
      blur: expect.closeTo(((0.4 * 0.5) / 50e-6 / 1000) * 60, 6),
      answering: expect.closeTo((answerWayMm / 90) * 60, 6),
      stopping: expect.any(Number),
    })
    // The flexo can't skip: the web must stand before a label gets there.
    expect(brakes((limits.stopping ?? 0) / 60)).toBeCloseTo(stopWayMm / 1000, 9)
    expect(speed.limits.every(({ counts: does }) => does)).toBe(true)
    expect(speed).toMatchObject({ mPerMin: 40, binds: 'height', next: { limit: 'frames' } })
    expect(speed.next?.times).toBeCloseTo(54 / 40, 9)
  })

  it('add up the minutes of set-up, travel with its ramps, reels and rolls', async () => {
    const { minutes } = await sumsOf()
    const v = 40 / 60
    // One change of a reel: two legs of 33 m, each v / a longer for its ramps.
    const travel = (2 * (33 / v + v / 0.5)) / 60
    expect(minutes).toMatchObject({ mPerMin: 40, setUp: 10, reelChanges: 3, rollChange: 5 })
    expect(minutes?.travel).toBeCloseTo(travel, 9)
    expect(minutes?.total).toBeCloseTo(10 + travel + 3 + 5, 9)
  })
})

describe('without a sequence', () => {
  const even = (change: object = {}) => sumTicket(inquiryOf(art, change))

  it('cells are shared evenly by the versions that fit them, and the sums say so', async () => {
    const sums = await even({ expectedFrames: 500 })
    expect(sums.assumed).toBe('even')
    expect(sums.extent).toMatchObject({ frames: 500, from: 'ticket' })
    expect(sums.designs.map(({ labels: count }) => count)).toEqual([500, 500])
    expect((await sumsOf()).assumed).toBeUndefined()
  })

  it('a version that has room in one cell only takes its part of that cell', async () => {
    const wide = { ...(art.B[1] as Layer), topMm: 6, drawn: draw({ ...wideMm, seed: 2, blockPx: 5, grays: [255] }) }
    const inquiry = inquiryOf({ ...art, C: [wide] }, { expectedFrames: 600 })
    // Cell 1 is made lower, so that C (18 mm high from 6 mm) has no room there.
    const frozen = {
      ...inquiry.frozen,
      jobs: inquiry.frozen.jobs.map((job) => ({
        ...job,
        frame: { ...frame, cells: frame.cells.map((cell) => (cell.cell === 1 ? { ...cell, heightMm: 22 } : cell)) },
      })),
    }
    const { designs } = await sumTicket({ ...inquiry, frozen })
    const each = Object.fromEntries(designs.map(({ design, labels: count = 0 }) => [design, Math.round(count)]))
    expect(each).toEqual({ A: 500, B: 500, C: 200 })
  })

  it('the length comes from the roll’s own length less set-up, or from its diameters, or is not known', async () => {
    const stated = await even({ material: { coreOuterMm: 76, lengthM: 36 } })
    expect(stated.extent).toMatchObject({ frames: 1_000, from: 'material' })
    const measured = await even({ material: { coreOuterMm: 76, diameterMm: 300 } })
    // 440.996 m less 6 m, in frames of 30 mm.
    expect(measured.extent).toMatchObject({ frames: 14_499, from: 'diameter' })
    const unknown = await even({ material: { coreOuterMm: 76 } })
    expect(unknown.extent).toBeUndefined()
    expect([unknown.stations, unknown.reels, unknown.minutes]).toEqual([[], [], undefined])
    expect(unknown.speed.mPerMin).toBe(40)
    expect(unknown.designs.every((row) => row.peakUm > 0 && row.labels === undefined)).toBe(true)
  })

  const wideMm = { widthMm: 18, heightMm: 18 }
})

describe('what if', () => {
  it('another length, speed, reels or thickness moves the sums that hang on them and no others', async () => {
    const own = await sumsOf()
    const more = await sumsOf({ whatIf: { frames: 4_000 } })
    expect(more.extent).toMatchObject({ frames: 4_000, from: 'what-if', webM: 126 })
    expect(more.designs.map(({ labels: count }) => count)).toEqual([6_000, 2_000])
    expect(more.ridge).toEqual(own.ridge)
    expect(more.peak).toEqual(own.peak)
    const slow = await sumsOf({ whatIf: { speedMPerMin: 20 } })
    expect(slow).toEqual({ ...own, wishMPerMin: 20, minutes: expect.objectContaining({ mPerMin: 20 }) })
    const fast = await sumsOf({ whatIf: { speedMPerMin: 500 } })
    expect([fast.minutes, fast.wishMPerMin]).toEqual([own.minutes, 500])
    const reels = await sumsOf({ whatIf: { foils: [{ station: 'foil', foil: 'gold', lengthM: 80 }] } })
    expect(reels.reels).toMatchObject([{ foil: 'gold', widthMm: 50, usedM: 73, reels: 1, suffices: true }])
    const thick = await sumsOf({ whatIf: { thicknessMm: 0.3 } })
    expect(thick.roll?.unwindMm).toBeGreaterThan(own.roll?.unwindMm ?? 0)
    expect(thick.stations).toEqual(own.stations)
  })
})

describe('what stands in the way', () => {
  it('is a layer whose bytes are lost: it is named, and the others are summed', async () => {
    const inquiry = inquiryOf(art, { expectedFrames: 10 })
    const { unread, designs } = await sumTicket({
      ...inquiry,
      async layerSums(layer, station) {
        if (layer.layer === 'gold') throw new Problem('blob-damaged', 'the bytes rotted')
        return inquiry.layerSums(layer, station)
      },
    })
    expect(unread).toEqual([
      { job: 'J', design: 'A', version: 1, layer: 'gold', code: 'blob-damaged', message: 'the bytes rotted' },
    ])
    expect(designs.find(({ design }) => design === 'A')).toMatchObject({ foilMm2: 0 })
  })

  it('is a ticket of which no job is published', async () => {
    const inquiry = inquiryOf(art)
    const none = sumTicket({ ...inquiry, frozen: { ...inquiry.frozen, jobs: [] } })
    await expect(none).rejects.toMatchObject({ code: 'package-not-found' })
  })

  it('is not that a slit roll carries one cell: its web is as wide as that', async () => {
    const { extent, ridge, designs } = await sumTicket(inquiryOf(art, { cells: [2], expectedFrames: 100 }))
    expect(extent).toMatchObject({ cellsPerFrame: 1, labels: 100 })
    expect(ridge.atMm).toBeGreaterThanOrEqual(25)
    expect(designs.map(({ labels: count }) => count)).toEqual([50, 50])
  })
})

const seed = Number(process.env.ROLLCALL_FUZZ_SEED ?? 20_261_125)

describe(`any drawing (seed ${seed})`, () => {
  it('has a summed peak that is never below the true one, whatever lies beside tiles', async () => {
    await fc.assert(
      fc.asyncProperty(fc.integer({ min: 1, max: 9 }), fc.integer({ min: 0, max: 30 }), async (blockPx, shift) => {
        const [flood, mask, relief] = artOf(blockPx).A as [Layer, Layer, Layer]
        const moved = { ...mask, leftMm: mask.leftMm + shift / 10 }
        const layers = [flood, moved, relief]
        const { peak } = await sumTicket(inquiryOf({ A: layers }, { expectedFrames: 10 }))
        const truth = Math.max(...[1, 2].map((cell) => greatest(paint(layers, cell, true))))
        expect(peak.um).toBeGreaterThanOrEqual(truth - 1e-9)
        expect(peak.um).toBeLessThanOrEqual(5 + 4 * 0.9 + 60 + 1e-9)
      }),
      { seed, numRuns: 8 },
    )
  })
})
