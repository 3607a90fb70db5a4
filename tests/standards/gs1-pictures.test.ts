// GS1 codes drawn by an independent writer (bwip-js), read from pictures as a camera would take them: the same elements come back, from
// what the reader gives as text and identifier.
import { describe, expect, it } from 'vitest'
import { readGs1 } from '../../src/codes/gs1/read.ts'
import { compileGs1, openReader } from '../../src/codes/index.ts'
import { limits } from '../../src/kernel/limits.ts'
import type { SymbologyName } from '../../src/kernel/terms.ts'
import { drawScene, encode, randomFrom } from '../drawn-symbols.ts'
import { type PlainElement, rightElements, writeBracketed, writeDigitalLink } from '../fixtures/gs1-texts.ts'

interface Kind {
  readonly bcid: string
  readonly symbology: SymbologyName
  readonly identifier: string
  readonly link: boolean
  /** Of the values' lengths; linear symbols hold less. */
  readonly size: 'least' | 'any'
}

const kinds: readonly Kind[] = [
  { bcid: 'gs1-128', symbology: 'code-128', identifier: ']C1', link: false, size: 'least' },
  { bcid: 'databarexpanded', symbology: 'gs1-databar', identifier: ']e0', link: false, size: 'least' },
  { bcid: 'gs1datamatrix', symbology: 'data-matrix', identifier: ']d2', link: false, size: 'any' },
  { bcid: 'gs1qrcode', symbology: 'qr', identifier: ']Q3', link: false, size: 'any' },
  { bcid: 'gs1dldatamatrix', symbology: 'data-matrix', identifier: ']d1', link: true, size: 'any' },
  { bcid: 'gs1dlqrcode', symbology: 'qr', identifier: ']Q1', link: true, size: 'any' },
]

/** AIs of labels: serial and batch, dates, weight, dimensions of a roll, a certificate, internal ones. */
const wanted: readonly (readonly string[])[] = [
  ['01', '21'],
  ['01', '10', '17', '21'],
  ['01', '17', '3103', '10'],
  ['01', '8001'],
  ['01', '22', '91', '240'],
  ['00', '4307'],
  ['414', '254'],
]

/**
 * No `%` in these values: the writer doubles it in every mode of a GS1 QR Code, the reader halves it in alphanumeric mode alone, as
 * ISO/IEC 18004 has it (7.4.8.2, from memory). Where the writer does choose that mode, the sign is in the test below.
 */
const withoutPercent = (elements: readonly PlainElement[]): readonly PlainElement[] =>
  elements.map(({ ai, value }) => ({ ai, value: value.replaceAll('%', '+') }))

const reading = openReader()
const random = randomFrom(7)
const modulePx = 3
const quietPx = 60

function textOf(kind: Kind, ais: readonly string[]): { elements: readonly PlainElement[]; text: string } {
  for (;;) {
    const elements = withoutPercent(rightElements(ais, kind.size, random)!)
    const link = writeDigitalLink(elements, { stem: 'https://id.gs1.org/label' })!
    const text = kind.link ? link.text : writeBracketed(elements)
    if (text.length <= limits.codeBytesMax) return { elements, text }
  }
}

async function readBack({ bcid, symbology }: Kind, text: string) {
  const modules = encode(bcid, text)
  const width = modules.width * modulePx + 2 * quietPx
  const height = Math.max(modules.height * modulePx, 120) + 2 * quietPx
  const symbols = [{ modules, modulePx, x: width / 2, y: height / 2, turnDeg: random() - 0.5 }]
  const picture = drawScene({ width, height, symbols, noise: 4, blurPx: 0.6, seed: 1 + Math.floor(random() * 1_000) })
  return await (await reading).read(picture, { symbologies: [symbology], symbolsMax: 4 })
}

describe.each(kinds)('$bcid', (kind) => {
  it('gives back its elements, behind its identifier', async () => {
    for (const ais of wanted) {
      const { elements, text } = textOf(kind, ais)
      const [code, ...others] = await readBack(kind, text)
      expect([text, code?.identifier, others]).toEqual([text, kind.identifier, []])
      const read = readGs1(code!.text!, { identifier: code!.identifier })
      expect(read).toMatchObject({ ok: true, syntax: kind.link ? 'digital-link' : 'element-string' })
      const plain: PlainElement[] = read.ok ? read.elements.map(({ ai, value }) => ({ ai, value })) : []
      // Writers put values of predefined length first where that saves a separator.
      expect(plain.toSorted(byAi)).toEqual(elements.map(({ ai, value }) => ({ ai, value })).toSorted(byAi))
    }
  })

  it('names design and serial to a job', async () => {
    const elements = [
      { ai: '01', value: '09521234543213' },
      { ai: '21', value: 'A/B-7%' },
    ]
    const text = kind.link ? writeDigitalLink(elements)!.text : writeBracketed(elements)
    const [code] = await readBack(kind, text)
    const rule = compileGs1({ symbologies: [kind.symbology], design: '01', serial: '21' })
    expect(rule.match(code!.text!, code!.identifier)).toEqual({ design: '09521234543213', serial: 'A/B-7%' })
  })
})

const byAi = (a: PlainElement, b: PlainElement): number => (a.ai < b.ai ? -1 : 1)
