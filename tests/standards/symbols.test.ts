// Symbols of the standards against bwip-js as encoder and the reader as decoder, which share no code: published codewords in the
// raw modules, and what is read of pictures of them as a camera would take them.
import { describe, expect, it } from 'vitest'
import { openReader } from '../../src/codes/index.ts'
import type { SymbologyName } from '../../src/kernel/terms.ts'
import { drawScene, encode, type Modules, randomFrom, type Scene } from '../drawn-symbols.ts'

const hexOf = (bits: readonly number[]): string =>
  Array.from({ length: bits.length / 8 }, (_, index) =>
    Number.parseInt(bits.slice(index * 8, index * 8 + 8).join(''), 2)
      .toString(16)
      .padStart(2, '0'),
  ).join(' ')

describe('the QR symbol of 01234567, version 1-M (ISO/IEC 18004 annex I)', () => {
  const symbol = encode('qrcode', '01234567', { version: 1, eclevel: 'M', fixedeclevel: true })
  const at = (row: number, column: number): number => symbol.dark[row * symbol.width + column] ?? 0

  /** Format bits beside the upper left finder, most significant first (ISO/IEC 18004 7.9.1, from memory). */
  const formatBits = (): number[] => [
    ...[0, 1, 2, 3, 4, 5, 7, 8].map((column) => at(8, column)),
    ...[7, 5, 4, 3, 2, 1, 0].map((row) => at(row, 8)),
  ]

  /** Data modules in the order of placement: column pairs from the right, upwards and downwards by turns (7.7.3, from memory). */
  function placement(): [row: number, column: number][] {
    const isFunction = (row: number, column: number): boolean =>
      (row < 9 && (column < 9 || column > 12)) || (row > 12 && column < 9) || row === 6 || column === 6
    const pairs = [20, 18, 16, 14, 12, 10, 8, 5, 3, 1]
    return pairs.flatMap((right, index) =>
      Array.from({ length: 21 }, (_, step) => (index % 2 === 0 ? 20 - step : step)).flatMap((row) =>
        [right, right - 1]
          .filter((column) => !isFunction(row, column))
          .map((column): [number, number] => [row, column]),
      ),
    )
  }

  // Conditions of the data masks 0 to 7 (7.8.2, from memory).
  const masks: readonly ((row: number, column: number) => boolean)[] = [
    (i, j) => (i + j) % 2 === 0,
    (i) => i % 2 === 0,
    (_, j) => j % 3 === 0,
    (i, j) => (i + j) % 3 === 0,
    (i, j) => (Math.floor(i / 2) + Math.floor(j / 3)) % 2 === 0,
    (i, j) => ((i * j) % 2) + ((i * j) % 3) === 0,
    (i, j) => (((i * j) % 2) + ((i * j) % 3)) % 2 === 0,
    (i, j) => (((i + j) % 2) + ((i * j) % 3)) % 2 === 0,
  ]
  // 101010000010010 is laid over the format (7.9.1, from memory); level M is 00, then come the three bits of the mask.
  const unmasked = (bits: readonly number[]): string =>
    bits.map((bit, index) => bit ^ Number('101010000010010'[index])).join('')

  it('carries the published codewords', () => {
    const mask = masks[Number.parseInt(unmasked(formatBits()).slice(2, 5), 2)]!
    const bits = placement().map(([row, column]) => at(row, column) ^ (mask(row, column) ? 1 : 0))
    expect(hexOf(bits)).toBe('10 20 0c 56 61 80 ec 11 ec 11 ec 11 ec 11 ec 11 a5 24 d4 c1 ed 36 c7 87 2c 55')
  })

  it('names level M in its format bits, and mask 2 as 101111001111100', () => {
    expect(unmasked(formatBits()).slice(0, 2)).toBe('00')
    // The code of the format is linear: masks of the same level differ by codewords of BCH(15,5), generator 10100110111 (annex C, from memory).
    const mask = Number.parseInt(unmasked(formatBits()).slice(2, 5), 2)
    const published = 0b101111001111100
    const difference = Number.parseInt(formatBits().join(''), 2) ^ published ^ formatOf(mask) ^ formatOf(2)
    expect(difference).toBe(0)
    expect(formatOf(2) ^ 0b101010000010010).toBe(published)
  })

  /** BCH(15,5) codeword of level M with a mask. */
  function formatOf(mask: number): number {
    let rest = mask << 10
    for (let bit = 14; bit >= 10; bit--) if ((rest >> bit) & 1) rest ^= 0b10100110111 << (bit - 10)
    return (mask << 10) | rest
  }
})

describe('the Data Matrix symbol of 123456 (ISO/IEC 16022)', () => {
  const symbol = encode('datamatrix', '123456', { rows: 10, columns: 10 })

  it('is 10 × 10 modules with its finder at the left and below', () => {
    expect([symbol.width, symbol.height]).toEqual([10, 10])
    const at = (row: number, column: number) => symbol.dark[row * 10 + column]
    expect(Array.from({ length: 10 }, (_, row) => at(row, 0))).toEqual(Array(10).fill(1))
    expect(Array.from({ length: 10 }, (_, column) => at(9, column))).toEqual(Array(10).fill(1))
  })

  it('carries the published codewords', () => {
    const inner = Array.from({ length: 64 }, (_, index) => symbol.dark[(1 + (index >> 3)) * 10 + 1 + (index & 7)] ?? 0)
    expect(codewordsOf8x8(inner)).toEqual([142, 164, 186, 114, 25, 5, 88, 102])
  })

  /** Placement of eight codewords in an 8 × 8 mapping matrix (ISO/IEC 16022 annex F, from memory). */
  function codewordsOf8x8(modules: readonly number[]): number[] {
    const size = 8
    const wrap = (row: number, column: number): number => {
      const [r, c] = row < 0 ? [row + size, column + 4 - ((size + 4) % 8)] : [row, column]
      const [y, x] = c < 0 ? [r + 4 - ((size + 4) % 8), c + size] : [r, c]
      return y * size + x
    }
    const utah = [
      [-2, -2],
      [-2, -1],
      [-1, -2],
      [-1, -1],
      [-1, 0],
      [0, -2],
      [0, -1],
      [0, 0],
    ] as const
    const taken = new Set<number>()
    const words: number[] = []
    const take = (row: number, column: number): void => {
      const places = utah.map(([down, right]) => wrap(row + down, column + right))
      for (const place of places) taken.add(place)
      words.push(Number.parseInt(places.map((place) => modules[place] ?? 0).join(''), 2))
    }
    let [row, column] = [4, 0]
    while (row < size || column < size) {
      for (; row >= 0 && column < size; row -= 2, column += 2) {
        if (row < size && column >= 0 && !taken.has(row * size + column)) take(row, column)
      }
      row += 1
      column += 3
      for (; row < size && column >= 0; row += 2, column -= 2) {
        if (row >= 0 && column < size && !taken.has(row * size + column)) take(row, column)
      }
      row += 3
      column += 1
    }
    return words
  }
})

describe('the reader on drawn pictures', () => {
  const reading = openReader()
  const texts = Array.from({ length: 20 }, (_, index) => `J1-mango.p1/${String(index * 7919).padStart(6, '0')}`)
  const side = 240

  interface Trouble {
    readonly name: string
    readonly modulePx?: number
    readonly turnDeg?: number
    readonly scene?: Partial<Scene>
    /** Of 20 pictures at least so many are read: QR, Data Matrix. */
    readonly least: readonly [number, number]
  }
  // The least leave some room below the measured rates; where reading breaks down is printed and not asked for.
  const troubles: readonly Trouble[] = [
    { name: 'clean, 4 px a module', least: [20, 20] },
    { name: '2 px a module', modulePx: 2, least: [20, 20] },
    { name: '1.6 px a module', modulePx: 1.6, least: [18, 18] },
    { name: 'turned by 2°', turnDeg: 2, least: [20, 20] },
    { name: 'turned by 20°', turnDeg: 20, least: [20, 18] },
    { name: 'turned by 180°', turnDeg: 180, least: [20, 20] },
    { name: 'blur of 1.5 px', scene: { blurPx: 1.5 }, least: [20, 18] },
    { name: 'blur of 2 px', scene: { blurPx: 2 }, least: [16, 10] },
    { name: 'blur of 3 px', scene: { blurPx: 3 }, least: [0, 0] },
    { name: 'contrast of 10 %', scene: { paper: 140, ink: 115, noise: 1 }, least: [20, 18] },
    { name: 'contrast of 4 %', scene: { paper: 138, ink: 128, noise: 1 }, least: [18, 16] },
    { name: 'noise of 30 levels', scene: { noise: 30 }, least: [18, 18] },
    { name: 'noise of 60 levels', scene: { noise: 60 }, least: [16, 14] },
  ]

  const random = randomFrom(11)
  const near = (): number => side / 2 + (random() - 0.5) * 20

  async function readOne(symbology: SymbologyName, modules: Modules, trouble: Trouble, seed: number) {
    const { modulePx = 4, turnDeg = random() * 2 - 1, scene } = trouble
    const picture = drawScene({
      width: side,
      height: side,
      symbols: [{ modules, modulePx, x: near(), y: near(), turnDeg }],
      ink: 50,
      noise: 4,
      seed,
      ...scene,
    })
    const box = { left: 70, top: 70, width: 100, height: 100 }
    return (await reading).read(picture, { symbologies: [symbology], symbolsMax: 2, places: [box], marginPx: 70 })
  }

  it.each(troubles)('never reads another text, and reads most: $name', async (trouble) => {
    const kinds = [
      ['qr', 'qrcode', trouble.least[0]],
      ['data-matrix', 'datamatrix', trouble.least[1]],
    ] as const
    for (const [symbology, bcid, least] of kinds) {
      let right = 0
      for (const [seed, text] of texts.entries()) {
        const modules = encode(bcid, text, bcid === 'qrcode' ? { eclevel: 'M' } : {})
        for (const code of await readOne(symbology, modules, trouble, seed + 1)) {
          expect(code.text).toBe(text)
          right++
        }
      }
      console.log(`read rate, ${bcid}, ${trouble.name}: ${right} of ${texts.length}`)
      expect(right).toBeGreaterThanOrEqual(least)
    }
  })

  it('tells by unused error correction how near a QR code is to being lost', async () => {
    // Version 1-M has 10 check codewords of which 2 only detect: UEC = 1 − 2t/8, so .75, .50, .25, 0 for 1 to 4 wrong codewords
    // (ISO/IEC 15415 with ISO/IEC 18004 table 9, from memory). Each wrong codeword lies in data columns of its own.
    const symbol = encode('qrcode', '01234567', { version: 1, eclevel: 'M', fixedeclevel: true })
    const hits = [
      [20, 20],
      [16, 20],
      [12, 20],
      [9, 18],
      [13, 18],
    ] as const
    const qualities: (number | undefined)[] = []
    for (let wrong = 0; wrong <= hits.length; wrong++) {
      const dark = [...symbol.dark]
      for (const [row, column] of hits.slice(0, wrong)) dark[row * 21 + column] = 1 - (dark[row * 21 + column] ?? 0)
      const [code] = await readOne('qr', { ...symbol, dark }, { name: 'damaged', turnDeg: 0, least: [0, 0] }, 1)
      qualities.push(code?.quality)
    }
    expect(qualities).toEqual([1, 0.75, 0.5, 0.25, 0, undefined])
  })
})
