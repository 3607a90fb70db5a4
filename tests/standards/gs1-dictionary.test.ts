// The table of AIs against the GS1 Barcode Syntax Dictionary itself (public repository gs1/gs1-syntax-dictionary, commit ff2eb4b), where
// a copy lies beside the checkout. Both are spelled out to one form, entry by entry.
import { existsSync, readFileSync } from 'node:fs'
import path from 'node:path'
import { describe, expect, it } from 'vitest'
import { type AiEntry, aiAt, aiEntries } from '../../src/codes/gs1/ai-dictionary.ts'
import { aiRows } from '../../src/codes/gs1/ai-table.ts'
import { linters } from '../../src/codes/gs1/linters.ts'

const dictionary = path.resolve(import.meta.dirname, '../../../shared/vectors/gs1-syntax-dictionary.txt')

interface Line {
  readonly ai: string
  readonly flags: string
  readonly parts: readonly string[]
  readonly attributes: readonly string[]
  readonly title: string
}

function linesOf(text: string): Line[] {
  return text.split('\n').flatMap((line) => {
    const form = /^(\d+)(?:-(\d+))?\s+([*?]*)\s*([^#]*?)\s*(?:#\s*(.*?)\s*)?$/.exec(line)
    if (!form) return []
    const [, first = '', last = first, flags = '', specification = '', title = ''] = form
    const words = specification.split(/\s+/)
    return Array.from({ length: Number(last) - Number(first) + 1 }, (_, step) => ({
      ai: String(Number(first) + step).padStart(first.length, '0'),
      flags: [...flags].toSorted().join(''),
      parts: words.filter((word) => /^\[?[NXYZ]/.test(word)),
      attributes: words.filter((word) => !/^\[?[NXYZ]/.test(word)).toSorted(),
      title,
    }))
  })
}

/** An entry as the dictionary would write it. */
function lineOf(entry: AiEntry, pairs: { needs?: string; bars?: string; path?: string }): Line {
  const parts = entry.parts.map(({ set, min, max, optional, linters: names }) => {
    const size = min === max ? `${min}` : `..${max}`
    const shape = optional ? `[${set}${size}]` : `${set}${size}`
    return [shape, ...names].join(',')
  })
  const comma = (text: string): string => text.replaceAll(' | ', '|').replaceAll(' ', ',')
  const attributes = [
    ...(pairs.needs === undefined ? [] : [`req=${comma(pairs.needs)}`]),
    ...(pairs.bars === undefined ? [] : [`ex=${comma(pairs.bars)}`]),
    ...(pairs.path === undefined ? [] : [pairs.path === '' ? 'dlpkey' : `dlpkey=${comma(pairs.path)}`]),
  ]
  const flags = `${entry.predefined ? '*' : ''}${entry.attribute ? '?' : ''}`
  return { ai: entry.ai, flags, parts, attributes: attributes.toSorted(), title: entry.title }
}

const inRange = (range: string, ai: string): boolean => {
  const [first = '', last = first] = range.split('-')
  return ai.length === first.length && ai >= first && ai <= last
}

describe('the table of AIs', () => {
  it('is the dictionary, entry by entry', (ctx) => {
    if (!existsSync(dictionary)) return ctx.skip()
    const lines = linesOf(readFileSync(dictionary, 'utf8'))
    const ours = aiEntries.map((entry) => lineOf(entry, aiRows.find(([range]) => inRange(range, entry.ai))?.[4] ?? {}))
    expect(lines.length).toBeGreaterThan(500)
    expect(ours).toEqual(lines)
  })

  it('expands its patterns to the AIs that they stand for', () => {
    const find = (ai: string): AiEntry => aiEntries.find((entry) => entry.ai === ai)!
    expect(find('3103').bars).toEqual(['3100', '3101', '3102', '3104', '3105'])
    expect(find('3103').needs).toEqual([[['01']], [['02']]])
    expect(find('250').needs).toEqual([
      [['01'], ['21']],
      [['03'], ['21']],
      [['8006'], ['21']],
    ])
    expect(find('3920').needs.at(-1)?.[1]).toHaveLength(60)
    expect(find('01').paths).toEqual([['22', '10', '21'], ['235']])
    expect(find('00').paths).toEqual([[]])
    expect(find('10').paths).toBeUndefined()
  })

  it('names checks that there are, and leaves none unused', () => {
    const named = new Set(aiEntries.flatMap(({ parts }) => parts.flatMap((part) => part.linters)))
    expect([...named].toSorted()).toEqual(Object.keys(linters).toSorted())
  })

  it('finds each AI at its digits, and none where digits are no AI', () => {
    for (const entry of aiEntries) expect(aiAt(`x${entry.ai}9999`, 1)).toBe(entry)
    for (let number = 0; number < 10_000; number++) {
      const digits = String(number).padStart(4, '0')
      const found = aiEntries.filter(({ ai }) => digits.startsWith(ai))
      expect(found.length).toBeLessThanOrEqual(1)
      if (aiAt(digits, 0) !== found[0]) expect.fail(`at ${digits}`)
    }
  })
})
