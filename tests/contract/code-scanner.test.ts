// What the decoder must do, on both ways of calling it, with symbols from an encoder that shares nothing with it.
import { describe, expect, it, vi } from 'vitest'
import {
  type FoundCode,
  openReader,
  openScanner,
  readableSymbologies,
  type ScannerPath,
} from '../../src/codes/index.ts'
import type { SymbologyName } from '../../src/kernel/terms.ts'
import { drawScene, encode, type Gray } from '../drawn-symbols.ts'

const paths: readonly ScannerPath[] = ['luminance', 'public']

/** One symbol in the middle of a picture that leaves it its quiet zone. */
function pictureOf(symbol: {
  bcid: string
  text: string
  options?: Parameters<typeof encode>[2]
  modulePx?: number
}): Gray {
  const modules = encode(symbol.bcid, symbol.text, symbol.options)
  const modulePx = symbol.modulePx ?? 4
  const width = (modules.width + 24) * modulePx
  const height = (modules.height + 16) * modulePx
  return drawScene({ width, height, symbols: [{ modules, modulePx, x: width / 2, y: height / 2 }], noise: 2 })
}

describe.each(paths)('the decoder by its %s call', (path) => {
  const reading = openReader(() => openScanner(path))
  const read = async (picture: Gray, ...symbologies: SymbologyName[]): Promise<readonly FoundCode[]> =>
    (await reading).read(picture, { symbologies, symbolsMax: 8 })

  it('opens without asking the network', async () => {
    const fetched = vi.fn(() => Promise.reject(new Error('no network here')))
    vi.stubGlobal('fetch', fetched)
    try {
      const scanner = await openScanner(path)
      expect(scanner.path).toBe(path)
    } finally {
      vi.unstubAllGlobals()
    }
    expect(fetched).not.toHaveBeenCalled()
  })

  it('is the one that was asked for', async () => {
    expect((await reading).path).toBe(path)
  })

  it.each<[SymbologyName, string, string, string, string]>([
    ['qr', 'qrcode', 'J1-mango.p1/000123', ']Q1', 'J1-mango.p1/000123'],
    ['micro-qr', 'microqrcode', '01234567', ']Q1', '01234567'],
    ['data-matrix', 'datamatrix', 'J1-mango.p1/000123', ']d1', 'J1-mango.p1/000123'],
    ['code-128', 'code128', 'AB-123456', ']C0', 'AB-123456'],
    ['code-128', 'gs1-128', '(01)09521234543213(10)ABC(99)X', ']C1', '010952123454321310ABC\u001d99X'],
    ['gs1-databar', 'databaromni', '(01)09521234543213', ']e0', '0109521234543213'],
    ['gs1-databar', 'databarlimited', '(01)09521234543213', ']e0', '0109521234543213'],
    ['gs1-databar', 'databarexpandedstacked', '(01)09521234543213(10)ABC', ']e0', '010952123454321310ABC'],
    ['aztec', 'azteccode', 'J1-mango.p1/000123', ']z0', 'J1-mango.p1/000123'],
    ['ean-upc', 'ean13', '9520123456788', ']E0', '9520123456788'],
    ['ean-upc', 'ean8', '95200002', ']E4', '95200002'],
    ['ean-upc', 'upca', '012345000058', ']E0', '0012345000058'],
  ])('reads %s (%s) and names it by its identifier', async (symbology, bcid, text, identifier, content) => {
    const codes = await read(pictureOf({ bcid, text }), symbology)
    expect(codes.map((code) => [code.identifier, code.text])).toEqual([[identifier, content]])
  })

  it('sees no symbology that it was not asked for', async () => {
    const picture = pictureOf({ bcid: 'qrcode', text: 'J1-mango.p1/000123' })
    const others = readableSymbologies.filter((name) => name !== 'qr')
    expect(await read(picture, ...others)).toEqual([])
  })

  it('does not take a Micro QR for a QR', async () => {
    expect(await read(pictureOf({ bcid: 'microqrcode', text: '01234567' }), 'qr')).toEqual([])
  })

  it('keeps the group separators of GS1 element strings', async () => {
    const text = '(01)09521234543213(10)ABC(99)X'
    const [qr] = await read(pictureOf({ bcid: 'gs1qrcode', text }), 'qr')
    const [matrix] = await read(pictureOf({ bcid: 'gs1datamatrix', text }), 'data-matrix')
    expect([qr?.identifier, qr?.text]).toEqual([']Q3', '010952123454321310ABC\u001d99X'])
    expect([matrix?.identifier, matrix?.text]).toEqual([']d2', '010952123454321310ABC\u001d99X'])
  })

  it('reads bytes as UTF-8 and never guesses another character set', async () => {
    const [utf8] = await read(pictureOf({ bcid: 'qrcode', text: 'grüße €' }), 'qr')
    const [latin1] = await read(
      pictureOf({ bcid: 'qrcode', text: '^233^233', options: { parse: true, binarytext: true } }),
      'qr',
    )
    expect(utf8?.text).toBe('grüße €')
    expect(latin1).toBeDefined()
    expect(latin1?.text).toBeUndefined()
  })

  it('heeds the character set that a symbol names', async () => {
    const text = '^ECI000003^233t^233'
    const [named] = await read(
      pictureOf({ bcid: 'qrcode', text, options: { parse: true, parsefnc: true, binarytext: true } }),
      'qr',
    )
    expect(named?.text).toBe('été')
  })

  it('reports the corners clockwise from the upper left of the symbol as it reads', async () => {
    const modules = encode('qrcode', 'J1-mango.p1/000123')
    const side = (modules.width * 4) / 2
    const picture = drawScene({
      width: 300,
      height: 260,
      symbols: [{ modules, modulePx: 4, x: 160, y: 120, turnDeg: 90 }],
    })
    const [code] = await read(picture, 'qr')
    const expected = [
      [160 + side, 120 - side],
      [160 + side, 120 + side],
      [160 - side, 120 + side],
      [160 - side, 120 - side],
    ]
    code?.corners.forEach(({ x, y }, index) => {
      expect(Math.hypot(x - (expected[index]?.[0] ?? 0), y - (expected[index]?.[1] ?? 0))).toBeLessThan(3)
    })
    expect(Math.hypot((code?.centre.x ?? 0) - 160, (code?.centre.y ?? 0) - 120)).toBeLessThan(1.5)
  })

  it('finds all symbols of a picture up to the number asked for', async () => {
    const symbols = [0, 1, 2, 3].map((index) => ({
      modules: encode('qrcode', `J1-mango.p1/00000${index}`),
      modulePx: 4,
      x: 100 + 180 * index,
      y: 100,
    }))
    const picture = drawScene({ width: 740, height: 200, symbols })
    const texts = (await read(picture, 'qr')).map(({ text }) => text).toSorted()
    expect(texts).toEqual([0, 1, 2, 3].map((index) => `J1-mango.p1/00000${index}`))
    const two = await (await reading).read(picture, { symbologies: ['qr'], symbolsMax: 2 })
    expect(two).toHaveLength(2)
  })

  it('finds nothing on blank or noisy paper, with rescues too', async () => {
    const places = [{ left: 60, top: 60, width: 80, height: 80 }]
    for (const noise of [0, 5, 60]) {
      const picture = drawScene({ width: 200, height: 200, symbols: [], noise, seed: 5 })
      const found = await (await reading).read(picture, { symbologies: readableSymbologies, symbolsMax: 8, places })
      expect(found).toEqual([])
    }
  })
})
