// Clear zones: where they lie for layers of cells and frames, turned or not, and what counts as lying over them.
import { describe, expect, it } from 'vitest'
import { inkInZone, openClearZones } from './clear-zones.ts'
import type { ManifestFrame, ManifestLayer } from './manifest.ts'

const frame: ManifestFrame = {
  pitchMm: 40,
  webWidthMm: 70,
  cells: [
    { cell: 1, lane: 1, row: 1, leftMm: 5, topMm: 5, widthMm: 20, heightMm: 30, rotateDeg: 90, bleedMm: 1 },
    { cell: 2, lane: 2, row: 1, leftMm: 35, topMm: 5, widthMm: 30, heightMm: 20, rotateDeg: 0, bleedMm: 1 },
  ],
  codeAt: { identifies: 'cell', from: 'cell', leftMm: 2, topMm: 3, widthMm: 4, heightMm: 4, quietMm: 1 },
  substrates: ['pp-white'],
}

const layer = (change: Partial<ManifestLayer> = {}): ManifestLayer => ({
  layer: 'relief',
  station: 'inkjet',
  pass: 1,
  order: 1,
  scope: 'cell',
  file: 'x.png',
  sha256: '0'.repeat(64),
  resolution: { acrossDpi: 254, alongDpi: 254 },
  heightUm: 20,
  placement: { leftMm: 0, topMm: 0, widthMm: 30, heightMm: 20 },
  ...change,
})

describe('clear zones', () => {
  it('of a code in each cell are one zone in the label, whatever way the cells are turned', () => {
    const zones = openClearZones(frame)(layer())
    expect(zones).toEqual([
      {
        code: 'art-over-code',
        what: 'the code of cell 1',
        rectMm: { leftMm: 1, topMm: 2, widthMm: 6, heightMm: 6 },
      },
    ])
  })

  it('of codes are many in a layer of the frame, each turned as its cell', () => {
    const whole = { leftMm: 0, topMm: 0, widthMm: 70, heightMm: 40 }
    const zones = openClearZones(frame)(layer({ scope: 'frame', placement: whole }))
    // Cell 1, turned by 90°: 25 − (3 + 4) − 1 = 17 across, 5 + 2 − 1 = 6 along. Cell 2, upright: 35 + 2 − 1, 5 + 3 − 1.
    expect(zones.map(({ rectMm }) => rectMm)).toEqual([
      { leftMm: 17, topMm: 6, widthMm: 6, heightMm: 6 },
      { leftMm: 36, topMm: 7, widthMm: 6, heightMm: 6 },
    ])
  })

  it('of a mark on the frame are seen from every cell that the layer fits, where they touch it', () => {
    // 24 to 26 mm across touches the first cell's right edge and bleed only; as seen in its label that is the upper edge.
    const marked = { ...frame, eyeMark: { leftMm: 24, topMm: 10, widthMm: 2, heightMm: 3 } }
    const bleeding = { leftMm: -1, topMm: -1, widthMm: 32, heightMm: 22 }
    const zones = openClearZones(marked)(layer({ placement: bleeding }))
    expect(zones.find(({ code }) => code === 'art-over-eye-mark')?.rectMm).toEqual({
      leftMm: 6,
      topMm: 0,
      widthMm: 3,
      heightMm: 2,
    })
  })

  it('free a common height layer, but no foil', () => {
    const zonesOf = openClearZones(frame)
    const common = layer({ scope: 'common', placement: { leftMm: 0, topMm: 0, widthMm: 70, heightMm: 40 } })
    expect(zonesOf(common)).toEqual([])
    const { heightUm, ...rest } = common
    expect(heightUm).toBe(20)
    expect(zonesOf({ ...rest, station: 'foil', foil: 'gold' })).toHaveLength(2)
  })

  it('hold the pixels whose centres lie in them', () => {
    const bitmap = { widthPx: 10, heightPx: 10, ink: new Uint8Array(100).fill(1) }
    const zone = (leftMm: number, widthMm: number) => ({
      code: 'art-over-code' as const,
      what: '',
      rectMm: { leftMm, topMm: 0.2, widthMm, heightMm: 0.1 },
    })
    const resolution = { acrossDpi: 254, alongDpi: 254 }
    expect(inkInZone(bitmap, zone(0.2, 0.3), resolution)).toBe(3)
    expect(inkInZone(bitmap, zone(0.24, 0.3), resolution)).toBe(3)
    expect(inkInZone(bitmap, zone(0.26, 0.3), resolution)).toBe(3)
    expect(inkInZone(bitmap, zone(-1, 5), resolution)).toBe(10)
    expect(inkInZone(bitmap, zone(2, 5), resolution)).toBe(0)
  })
})
