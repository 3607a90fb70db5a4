// Yoghurts, job 3 of the demo: one GS1 Digital Link URI a frame, printed where no label lies.
import { describe, expect, it } from 'vitest'
import { yoghurtsScenario } from '../../demo-jobs/scenarios.ts'
import { neverReleased, yoghurts } from '../../demo-jobs/wrenfold-yoghurts/orders.ts'
import { checkDigit } from '../../demo-jobs/wrenfold-yoghurts/trade-numbers.ts'
import { compileGs1 } from '../../src/codes/index.ts'

const { roll } = yoghurtsScenario

/** Keys and values of the path, by turns. */
function pairsOf(text: string): Record<string, string> {
  const parts = new URL(text).pathname.split('/').slice(1)
  return Object.fromEntries(Array.from({ length: parts.length / 2 }, (_, at) => [parts[2 * at], parts[2 * at + 1]]))
}

describe('yoghurts', () => {
  it('have check digits as GS1 works them out', () => {
    // GS1 web pages: 629104150021 → 3, 730001100001 → 7.
    expect(checkDigit('629104150021')).toBe('3')
    expect(checkDigit('730001100001')).toBe('7')
    for (const { design } of yoghurts.designs) {
      expect(design).toMatch(/^0952\d{10}$/)
      expect(design.slice(-1)).toBe(checkDigit(design.slice(0, -1)))
    }
  })

  it('carry one code a frame: all its labels share text, design and serial', () => {
    for (const { labels } of roll) {
      const shared = labels.map(({ cell: _, ...rest }) => rest)
      expect(labels.map(({ cell }) => cell)).toEqual([1, 2, 3, 4])
      expect(new Set(shared.map((label) => JSON.stringify(label))).size).toBe(1)
    }
  })

  it('name item, print version and serial in the code, those aside that are planted as unknown', () => {
    for (const { text, job, design, print, serial, plant } of roll.flatMap(({ labels }) => labels.slice(0, 1))) {
      if (job !== yoghurts.job) {
        expect(text).not.toContain('://')
        continue
      }
      expect(text).toMatch(/^https:\/\/wrenfold\.example\//)
      expect(Buffer.byteLength(text)).toBeLessThanOrEqual(62)
      const pairs = pairsOf(text)
      if (plant === 'missing-key') expect(pairs).toEqual({ 22: print, 21: serial })
      else if (plant === 'wrong-check-digit') {
        expect(pairs['01']!.slice(0, -1)).toBe(design.slice(0, -1))
        expect(pairs['01']).not.toBe(design)
      } else expect(pairs).toEqual({ '01': design, 22: print, 21: serial })
    }
  })

  it('carry codes that the gs1 rule reads back, those aside that are planted as unknown', () => {
    const designs = yoghurts.designs.map(({ design }) => design)
    const rule = compileGs1({ symbologies: ['qr'], design: '01', print: '22', serial: '21', designs })
    const unknown: readonly (string | undefined)[] = ['wrong-check-digit', 'missing-key', 'other-job']
    for (const { text, design, print, serial, plant } of roll.flatMap(({ labels }) => labels.slice(0, 1))) {
      expect(rule.match(text, ']Q1')).toEqual(unknown.includes(plant) ? undefined : { design, print, serial })
    }
  })

  it('leave the code and its quiet zone free of labels and their bleed', () => {
    const { codeAt, cells, webWidthMm, pitchMm } = yoghurts.frame
    const [left, right] = [codeAt.leftMm - codeAt.quietMm, codeAt.leftMm + codeAt.widthMm + codeAt.quietMm]
    for (const cell of cells) {
      const isLeft = cell.leftMm + cell.widthMm + cell.bleedMm <= left
      expect(isLeft || cell.leftMm - cell.bleedMm >= right).toBe(true)
    }
    expect(right).toBeLessThan(webWidthMm)
    expect(codeAt.topMm + codeAt.heightMm + codeAt.quietMm).toBeLessThan(pitchMm)
  })

  it('have an item that nobody released, and labels of it on the roll', () => {
    expect(roll.filter(({ labels }) => labels[0]!.design === neverReleased.design)).toHaveLength(2)
    expect(yoghurtsScenario.packages.flatMap(({ held }) => held)).toMatchObject([{ design: neverReleased.design }])
  })
})
