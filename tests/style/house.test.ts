// The house rules that no linter checks: sizes of files and functions, how files open, dead files, banned words, problem codes.
import { readdirSync, readFileSync } from 'node:fs'
import path from 'node:path'
import { describe, expect, it } from 'vitest'
import { problemTable } from '../../src/kernel/problem.ts'

const root = path.resolve(import.meta.dirname, '../..')
const rooms = ['src', 'workers', 'tests', 'demo-jobs']

function filesIn(folder: string): string[] {
  return readdirSync(path.join(root, folder), { withFileTypes: true }).flatMap((entry) => {
    const below = path.join(folder, entry.name)
    return entry.isDirectory() ? filesIn(below) : [below]
  })
}

const sources = rooms.flatMap(filesIn).filter((file) => file.endsWith('.ts'))
const textOf = (file: string): string => readFileSync(path.join(root, file), 'utf8')
const isTest = (file: string): boolean => file.endsWith('.test.ts') || file.startsWith('tests/')

const fileLinesMax = 400
const functionLinesMax = 70

// Longer ones that stand, with their length today: they may only shrink, and then leave this list.
const ratchet = new Set([
  'src/codes/table/arena-writer.ts openArenaWriter has 108 lines',
  'src/codes/table/code-index.ts openLookup has 77 lines',
  'src/codes/table/pair-table.ts openPairTable has 81 lines',
  'src/codes/table/part-table.ts openPartTable has 105 lines',
])

// A function's length by indentation: the formatter closes it at the column where it opened.
function longFunctions(file: string): string[] {
  const lines = textOf(file).split('\n')
  const opening =
    /^( *)(?:export )?(?:default )?(?:private |public |static |override )*(?:async )?(?:function\*? ?(\w+)|(?:const (\w+)[^=]*= (?:async )?(?:\([^)]*\)|\w+)[^=]*=> \{$)|(?!if|for|while|switch|catch)([a-z]\w*)\([^)]*\)[^;=]*\{$)/
  return lines.flatMap((line, i) => {
    const found = opening.exec(line)
    if (!found || !/[{(]$/.test(line)) return []
    const close = lines.findIndex((candidate, j) => j > i && candidate.startsWith(`${found[1]}}`))
    const length = close - i + 1
    return length > functionLinesMax ? [`${file}:${i + 1} ${found[2] ?? found[3] ?? found[4]} has ${length} lines`] : []
  })
}

describe('the house', () => {
  it('is not empty', () => {
    expect(sources.length).toBeGreaterThan(100)
  })

  it(`keeps files within ${fileLinesMax} lines`, () => {
    const long = sources.map((file) => [file, textOf(file).split('\n').length - 1] as const)
    expect(long.filter(([, lines]) => lines > fileLinesMax)).toEqual([])
  })

  it(`keeps functions within ${functionLinesMax} lines`, () => {
    const long = sources
      .filter((file) => !isTest(file))
      .flatMap(longFunctions)
      .filter((text) => !ratchet.has(text.replace(/:\d+/, '')))
    expect(long).toEqual([])
  })

  it('opens every file with a line on its job', () => {
    expect(sources.filter((file) => !/^(#!.*\n)?\/\/ \S/.test(textOf(file)))).toEqual([])
  })

  it('names files in kebab-case', () => {
    expect(
      sources.filter(
        (file) => !/^[a-z0-9-]+(\.(test|suite|adapters|long|bench|long\.test))?\.ts$/.test(path.basename(file)),
      ),
    ).toEqual([])
  })

  it('has no any, no non-null assertion, no default export outside of tests, workers and configuration', () => {
    const own = sources.filter((file) => !isTest(file))
    expect(
      own.filter((file) => /: any\b|<any>|\bas any\b/.test(textOf(file).replaceAll(/^\s*(\/\/|\/?\*).*$/gm, ''))),
    ).toEqual([])
    expect(own.filter((file) => !file.startsWith('workers/') && /^export default/m.test(textOf(file)))).toEqual([])
  })

  it('uses no word that says nothing or leaves something open', () => {
    const banned = new RegExp(`\\b(${['TO' + 'DO', 'FIX' + 'ME', 'X' + 'XX'].join('|')})\\b|\\.(only|skip)\\(`)
    const vague = /\bclass \w*(Service|Manager|Helper)\b/
    expect(
      sources.filter((file) => banned.test(textOf(file).replaceAll('ctx.skip(', '').replaceAll('context.skip(', ''))),
    ).toEqual([])
    expect(sources.filter((file) => vague.test(textOf(file)))).toEqual([])
    expect(sources.filter((file) => /(^|\/)(utils|common|types|helpers)(\/|\.ts)/.test(file))).toEqual([])
  })

  it('calls a label artwork a design, never a flavour or variant, in names', () => {
    // The table of GS1's application identifiers has the titles that GS1 gave them.
    const own = sources.filter((file) => file.startsWith('src/') && file !== 'src/codes/gs1/ai-table.ts')
    expect(own.filter((file) => /(?<!font-)\b(variant|sku)(Id|Name|s)?\b/i.test(textOf(file)))).toEqual([])
  })

  it('sleeps in no test', () => {
    const tests = sources.filter(isTest)
    expect(tests.filter((file) => /await (sleep|delay)\(|setTimeout\(resolve, ?[1-9]\d\d+/.test(textOf(file)))).toEqual(
      [],
    )
  })
})

describe('problem codes', () => {
  const readme = (): string => readFileSync(path.join(root, 'README.md'), 'utf8')

  it('stand in the README, each with its status', () => {
    const rows = [...readme().matchAll(/^\| `([a-z0-9-]+)` \| (\d{3}) \|/gm)].map(
      ([, code, status]) => `${code} ${status}`,
    )
    const table = Object.entries(problemTable).map(([code, { status }]) => `${code} ${status}`)
    expect(rows.toSorted()).toEqual(table.toSorted())
  })

  it('are each used somewhere in the sources', () => {
    const all = sources
      .filter((file) => !file.endsWith('kernel/problem.ts'))
      .map(textOf)
      .join('\n')
    expect(Object.keys(problemTable).filter((code) => !all.includes(`'${code}'`))).toEqual([])
  })
})
