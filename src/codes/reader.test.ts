// What the reader asks the decoder for, and when it stops asking.
import { describe, expect, it } from 'vitest'
import type { FoundCode, PointPx } from './found-code.ts'
import type { BoxPx, GrayPicture } from './gray.ts'
import { openReader, type ReadRequest } from './reader.ts'
import { rescues } from './rescues.ts'
import type { Scanner, ScanOptions } from './scanner.ts'

const code = (text: string, centre: PointPx): FoundCode => {
  const { x, y } = centre
  const corners = [
    { x: x - 20, y: y - 20 },
    { x: x + 20, y: y - 20 },
    { x: x + 20, y: y + 20 },
    { x: x - 20, y: y + 20 },
  ] as const
  return { text, identifier: ']Q1', format: 'QRCode', corners, centre }
}

interface Look {
  readonly width: number
  readonly effort: ScanOptions['effort']
  readonly symbolsMax: number
}

/** A decoder that sees what `see` says of each look, and remembers the looks. */
function fakeScanner(see: (look: Look, index: number) => readonly FoundCode[]): { scanner: Scanner; looks: Look[] } {
  const looks: Look[] = []
  const scanner: Scanner = {
    path: 'luminance',
    scan: async (picture, { effort, symbolsMax }) => {
      looks.push({ width: picture.width, effort, symbolsMax })
      return see(looks.at(-1) as Look, looks.length - 1)
    },
  }
  return { scanner, looks }
}

const blank = (width: number, height: number): GrayPicture => ({ data: new Uint8Array(width * height), width, height })
const web = blank(1000, 200)
const places: readonly BoxPx[] = [100, 300, 500, 700].map((left) => ({ left, top: 80, width: 40, height: 40 }))
const request: ReadRequest = { symbologies: ['qr'], symbolsMax: 8, places, marginPx: 10 }
const wholeWidth = web.width
const regionWidth = 60

async function readWith(see: Parameters<typeof fakeScanner>[0], more: Partial<ReadRequest> = {}) {
  const { scanner, looks } = fakeScanner(see)
  const reader = await openReader(async () => scanner)
  return { found: await reader.read(web, { ...request, ...more }), looks }
}

describe('reading a picture with places', () => {
  it('takes one quick look at each place when all can be read', async () => {
    const { found, looks } = await readWith((_, index) => [code(`code ${index}`, { x: 30, y: 30 })])
    expect(looks).toEqual(places.map(() => ({ width: regionWidth, effort: 'quick', symbolsMax: 2 })))
    expect(found.map(({ text, centre }) => [text, centre.x, centre.y])).toEqual([
      ['code 0', 120, 100],
      ['code 1', 320, 100],
      ['code 2', 520, 100],
      ['code 3', 720, 100],
    ])
  })

  it('looks at the whole picture when half of the places failed, before any rescue', async () => {
    const { found, looks } = await readWith((look, index) => {
      if (look.width === wholeWidth) return [code('whole 2', { x: 520, y: 100 }), code('whole 3', { x: 720, y: 100 })]
      return index < 2 ? [code(`code ${index}`, { x: 30, y: 30 })] : []
    })
    expect(looks.slice(4)).toEqual([{ width: wholeWidth, effort: 'thorough', symbolsMax: 8 }])
    expect(found.map(({ text }) => text)).toEqual(['code 0', 'code 1', 'whole 2', 'whole 3'])
  })

  it('does not look at the whole picture when fewer failed', async () => {
    const { looks } = await readWith((_, index) => (index < 3 ? [code(`code ${index}`, { x: 30, y: 30 })] : []))
    expect(looks.some(({ width }) => width === wholeWidth)).toBe(false)
    expect(looks.slice(4)).toEqual(
      rescues.map(({ scale }) => ({ width: regionWidth * scale, effort: 'thorough', symbolsMax: 2 })),
    )
  })

  it('stops rescuing a place once it is read, and brings enlarged pixels back to the picture', async () => {
    const enlarged = rescues.findIndex(({ scale }) => scale === 3)
    const { found, looks } = await readWith((look, index) => {
      if (index < 3) return [code(`code ${index}`, { x: 30, y: 30 })]
      return look.width === 3 * regionWidth ? [code('saved', { x: 90, y: 90 })] : []
    })
    expect(looks).toHaveLength(4 + enlarged + 1)
    expect(found.at(-1)).toMatchObject({ text: 'saved', centre: { x: 720, y: 100 } })
  })

  it('counts a code without text as not read', async () => {
    const { text: _, ...untold } = code('', { x: 30, y: 30 })
    const { looks } = await readWith((_look, index) =>
      index < 4 ? [index === 0 ? untold : code('x', { x: 30, y: 30 })] : [],
    )
    expect(looks.length).toBeGreaterThan(4)
  })

  it('names a code once that several looks saw, and two when their contents differ', async () => {
    const same = await readWith(
      (look) => [code('A', look.width === wholeWidth ? { x: 100, y: 100 } : { x: 30, y: 30 })],
      {
        places: [
          { left: 80, top: 80, width: 40, height: 40 },
          { left: 90, top: 80, width: 40, height: 40 },
        ],
      },
    )
    expect(same.found).toHaveLength(1)
    const other = await readWith((_, index) => [code(`text ${index}`, { x: 30, y: 30 })], {
      places: [
        { left: 80, top: 80, width: 40, height: 40 },
        { left: 80, top: 80, width: 40, height: 40 },
      ],
    })
    expect(other.found.map(({ text }) => text)).toEqual(['text 0', 'text 1'])
  })

  it('gives up rescuing when the pixels allowed for it are spent', async () => {
    const { scanner, looks } = fakeScanner(() => [])
    const reader = await openReader(async () => scanner)
    const many = Array.from({ length: 256 }, (_, index) => ({
      left: (index % 32) * 60,
      top: (index >> 5) * 60,
      width: 60,
      height: 60,
    }))
    await reader.read(blank(2000, 500), { ...request, places: many, marginPx: 60 })
    const rescued = looks.slice(many.length + 1).reduce((sum, { width }) => sum + width * width, 0)
    expect(rescued).toBeGreaterThan(1_000_000)
    expect(rescued).toBeLessThanOrEqual(5_000_000)
  })

  it('passes over places outside the picture', async () => {
    const { found, looks } = await readWith(() => [], { places: [{ left: 5000, top: 0, width: 40, height: 40 }] })
    expect(found).toEqual([])
    expect(looks).toHaveLength(1)
  })
})

describe('reading a picture without places', () => {
  it('takes one thorough look at the whole', async () => {
    const { looks } = await readWith(() => [], { places: [] })
    expect(looks).toEqual([{ width: wholeWidth, effort: 'thorough', symbolsMax: 8 }])
  })
})

describe('a decoder that broke', () => {
  it('fails its picture and is opened anew for the next', async () => {
    let opened = 0
    const reader = await openReader(async () => {
      opened++
      const broken = opened === 1
      return fakeScanner(() => {
        if (broken) throw new Error('unreachable executed')
        return [code('A', { x: 30, y: 30 })]
      }).scanner
    })
    await expect(reader.read(web, request)).rejects.toThrow('unreachable executed')
    expect((await reader.read(web, request))[0]?.text).toBe('A')
    await reader.read(web, request)
    expect(opened).toBe(2)
  })
})
