// Code tables of ten and thirty million rows: exact, small, built within a stated memory, and mended row by row where they are broken.
import { execFile } from 'node:child_process'
import { mkdtemp, rm, stat } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { promisify } from 'node:util'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { BuildOutcome } from '../../src/codes/table/build.ts'
import { openCodeIndex } from '../../src/codes/table/open.ts'
import { openSerialSet, restoreSerials } from '../../src/codes/table/serial-set.ts'
import { freshCode, freshMiss, writeCodeTable } from '../bench/code-tables.ts'

const run = promisify(execFile)
const script = fileURLToPath(new URL('../fixtures/build-table.ts', import.meta.url))
const million = 1_000_000
const minutes = 60_000

/** Of the whole process, 256 MiB of buffers allowed. */
const peakMbMax = 400

let folder: string
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-long-'))
})
afterAll(() => rm(folder, { recursive: true, force: true }))

async function build(csvPath: string): Promise<{ outcome: BuildOutcome; peakMb: number }> {
  const args = ['--import', 'tsx', script, csvPath, join(folder, 'index'), folder]
  const { stdout } = await run(process.execPath, args, { maxBuffer: 64 * 1024 * 1024 })
  return JSON.parse(stdout) as { outcome: BuildOutcome; peakMb: number }
}

const pair = (row: number) => ({ design: `DESIGN-${(row >> 10) % 40}`, print: `0${1 + (row % 2)}` })

describe.each([10, 30])('a table of %i million codes', (millions) => {
  const rows = millions * million

  it('is answered for every code, and for no code that differs in one letter', { timeout: 20 * minutes }, async () => {
    const csvPath = join(folder, 'codes.csv')
    await writeCodeTable(csvPath, { rows, values: true })
    const { outcome, peakMb } = await build(csvPath)
    await rm(csvPath)
    expect(outcome).toMatchObject({ built: true, rows, codes: rows, prints: ['01', '02'] })
    expect(peakMb).toBeLessThan(peakMbMax)
    expect((await stat(join(folder, 'index'))).size / rows).toBeLessThan(48)
    const index = await openCodeIndex(join(folder, 'index'))
    for (let row = 0; row < rows; row++) {
      const found = index.find(freshCode(row))
      const wanted = pair(row)
      const isRight =
        found?.design === wanted.design && found.print === wanted.print && found.serial === String(row).padStart(8, '0')
      if (!isRight) expect.fail(`row ${row} was found as ${JSON.stringify(found)}`)
    }
    for (let row = 0; row < rows; row += 3) if (index.has(freshMiss(row))) expect.fail(`no row has ${freshMiss(row)}`)
    for (let row = 0; row < rows; row += 7)
      if (index.has(freshCode(row, 1))) expect.fail(`no row has ${freshCode(row, 1)}`)
    expect(index.share().chunks.length).toBe(Math.ceil(index.bytes / 2 ** 30))
    index.close()
  })

  it('takes at most 40 bytes a code where all are of one design', { timeout: 10 * minutes }, async () => {
    const csvPath = join(folder, 'bare.csv')
    await writeCodeTable(csvPath, { rows, values: false })
    const { outcome, peakMb } = await build(csvPath)
    await rm(csvPath)
    expect(outcome.built && outcome.bytes / rows).toBeLessThan(40)
    expect(peakMb).toBeLessThan(peakMbMax)
  })
})

describe('ten million rows', () => {
  const rows = 10 * million

  it('with broken ones far apart are refused with the number of each', { timeout: 10 * minutes }, async () => {
    const csvPath = join(folder, 'broken.csv')
    const instead = new Map([
      [4_999_998, '"never closed,DESIGN-1,01,1'],
      [5_000_000, 'too,few'],
      [6_000_000, ',DESIGN-1,01,1'],
      [7_000_000, `${freshCode(12)},DESIGN-1,01,1`],
      [9_999_999, '1.23457E+12,DESIGN-1,01,1'],
    ])
    await writeCodeTable(csvPath, { rows, values: true, instead })
    const { outcome, peakMb } = await build(csvPath)
    await rm(csvPath)
    const found = outcome.built ? [] : outcome.findings.map(({ code, row }) => `${code} ${row}`)
    // Row 0 stands on line 2.
    expect(found).toEqual([
      'table-row 5000000',
      'table-row 5000002',
      'table-code 6000002',
      'table-duplicate 7000002',
      'table-mangled 10000001',
    ])
    expect(peakMb).toBeLessThan(peakMbMax)
  })

  it('that are all twice are counted, and the first hundred named', { timeout: 10 * minutes }, async () => {
    const csvPath = join(folder, 'twice.csv')
    const half = 5 * million
    const instead = { get: (row: number) => (row < half ? undefined : `${freshCode(row - half)},DESIGN-1,01,1`) }
    await writeCodeTable(csvPath, { rows, values: true, instead })
    const { outcome, peakMb } = await build(csvPath)
    await rm(csvPath)
    expect(outcome).toMatchObject({ built: false, findingsTotal: half })
    const named = outcome.built ? [] : outcome.findings.slice(0, 100).map(({ row }) => row)
    expect(named).toEqual(Array.from({ length: 100 }, (_, i) => half + 2 + i))
    expect(peakMb).toBeLessThan(peakMbMax)
  })
})

describe('thirty million serials', () => {
  const count = 30 * million
  const serialAt = (i: number): string => String(i * 3).padStart(12, '0')

  it('are told apart exactly in at most 16 bytes each, now and after a snapshot', {
    timeout: 20 * minutes,
  }, async () => {
    const set = openSerialSet()
    for (let i = 0; i < count; i++) if (set.add(serialAt(i), i) !== undefined) expect.fail(`${serialAt(i)} was new`)
    expect(set.size).toBe(count)
    expect(set.bytes / count).toBeLessThan(16)
    const bytes = Buffer.concat([...set.snapshot()])
    expect(bytes.length / count).toBeLessThan(8)
    set.clear()
    const again = await restoreSerials(bytes)
    expect(again.bytes / count).toBeLessThan(16)
    for (let i = 0; i < count; i++) if (again.get(serialAt(i)) !== i) expect.fail(`${serialAt(i)} is lost`)
    for (let i = 0; i < count; i += 5) {
      if (again.get(String(i * 3 + 1).padStart(12, '0')) !== undefined) expect.fail(`${i * 3 + 1} was never added`)
    }
  })
})
