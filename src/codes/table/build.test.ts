// Building code indexes: duplicates, cells, the same bytes for the same rows, bounded memory, nothing left when it goes wrong.
import { readdir, readFile } from 'node:fs/promises'
import { describe, expect, it } from 'vitest'
import { buildFrom, openFrom, tableFolder } from '../../../tests/fixtures/code-tables.ts'
import { limits } from '../../kernel/limits.ts'
import type { BuildProgress, RefusedTable } from './build.ts'
import { hashed, hashKeyOf, hashWords } from './code-hash.ts'
import { packed, packText, wordsOf } from './code-words.ts'
import { bucketOf, decodeHeader } from './index-format.ts'

const mib = 1024 * 1024
const leastMemory = { memoryBytesMax: 4 * mib }

const rowsOf = (count: number, rowOf: (i: number) => string): string =>
  Array.from({ length: count }, (_, i) => `${rowOf(i)}\n`).join('')

async function refusalOf(text: string | Uint8Array, options = {}): Promise<RefusedTable> {
  const { outcome } = await buildFrom(text, options)
  if (outcome.built) throw new Error('the table was built')
  return outcome
}

describe('a sound table', () => {
  it('is counted: rows, codes, designs with their print versions', async () => {
    const { built, index } = await openFrom('code,design,print\nA,Plum,02\nB,Fig,01\nC,Plum,01\nD,Plum,02\n')
    expect(built).toMatchObject({
      rows: 4,
      codes: 4,
      carries: { print: true, serial: false, cell: false },
      prints: ['01', '02'],
      designs: [
        { design: 'Fig', rows: 1, prints: [{ print: '01', rows: 1 }] },
        {
          design: 'Plum',
          rows: 3,
          prints: [
            { print: '01', rows: 1 },
            { print: '02', rows: 2 },
          ],
        },
      ],
    })
    expect(index).toMatchObject({ rows: 4, codes: 4, digest: built.digest, designs: built.designs })
  })

  it('is answered for each of its codes and for no other', async () => {
    const { index } = await openFrom(
      'code,design,print,serial\nA,Plum,02,007\nB,Fig,01,SN-1\n"Ä 1",Fig,02,123456789012345\n',
    )
    expect(index.find('A')).toEqual({ design: 'Plum', print: '02', serial: '007' })
    expect(index.find('B')).toEqual({ design: 'Fig', print: '01', serial: 'SN-1' })
    expect(index.find('Ä 1')).toEqual({ design: 'Fig', print: '02', serial: '123456789012345' })
    for (const other of ['', 'a', 'AA', 'A\0', 'A ', 'Ä1', 'Ä 2']) expect(index.find(other)).toBeUndefined()
  })

  it('keeps serials to the letter: leading zeros, long numbers, any text', async () => {
    const serials = [
      '0',
      '00',
      '9',
      '000000000',
      '999999999',
      '0000000000',
      '1234567890',
      '000000000000001',
      '999999999999999',
    ]
    const texts = ['9999999999999999', '0000000000000000', 'x', 'ä木', '1.5', ' 1', '-1', 's'.repeat(200)]
    const all = [...serials, ...texts]
    const { index } = await openFrom(`code,design,serial\n${rowsOf(all.length, (i) => `c${i},D,"${all[i]}"`)}`)
    expect(all.map((_, i) => index.find(`c${i}`)?.serial)).toEqual(all)
  })

  it('gives the same bytes whatever the order of its rows and columns, its encoding, quotes, line ends and the memory', async () => {
    const count = 3_000
    const row = (i: number) => [`code-${i}`, `Design ${i % 7}`, `0${i % 3}`, String(i).padStart(6, '0')]
    const forwards = `code,design,print,serial\n${rowsOf(count, (i) => row(i).join(','))}`
    const shuffled = rowsOf(count, (i) =>
      row((i * 1_009) % count)
        .toReversed()
        .map((field) => `"${field}"`)
        .join(','),
    )
    const backwards = `serial,print,design,code\r\n${shuffled.replaceAll('\n', '\r\n')}`
    const digests = [
      (await openFrom(forwards)).built.digest,
      (await openFrom(Buffer.from(`\uFEFF${backwards}`, 'utf16le'))).built.digest,
      (await openFrom(backwards, leastMemory)).built.digest,
    ]
    expect(new Set(digests).size).toBe(1)
    expect((await openFrom(forwards.replace('Design 3', 'Design 4'))).built.digest).not.toBe(digests[0])
  })

  it('is found whole where its parts are many and its chunks are crossed', async () => {
    const count = 120_000
    const codeOf = (i: number): string => `${'long/'.repeat(i % 37)}${i.toString(36)}`
    const { index, built } = await openFrom(`code,design\n${rowsOf(count, (i) => `${codeOf(i)},D${i % 5}`)}`, {
      ...leastMemory,
      chunkBits: 20,
    })
    expect(built.bytes).toBeGreaterThan(2 * 4 * 2 ** 20)
    expect(index.share().chunks.length).toBeGreaterThan(2)
    const wrong = Array.from({ length: count }, (_, i) => i).filter(
      (i) => index.find(codeOf(i))?.design !== `D${i % 5}`,
    )
    expect(wrong).toEqual([])
    expect(Array.from({ length: 1_000 }, (_, i) => index.has(`${codeOf(i)}!`)).some(Boolean)).toBe(false)
  })
})

describe('a code for several cells', () => {
  it('is found by cell, and without one at its lowest cell', async () => {
    const { index, built } = await openFrom('code,design,cell\nF1,Plum,3\nF1,Fig,1\nF2,Plum,2\nF1,Plum,256\n')
    expect(built).toMatchObject({ rows: 4, codes: 2 })
    expect(index.find('F1')).toEqual({ design: 'Fig', cell: 1 })
    expect(index.find('F1', 1)).toEqual({ design: 'Fig', cell: 1 })
    expect(index.find('F1', 3)).toEqual({ design: 'Plum', cell: 3 })
    expect(index.find('F1', 256)).toEqual({ design: 'Plum', cell: 256 })
    expect(index.find('F1', 2)).toBeUndefined()
    expect(index.find('F2', 2)).toEqual({ design: 'Plum', cell: 2 })
  })

  it('may have a row with its own serial for every cell there is', async () => {
    const serialOf = (cell: number): string => (cell % 2 === 0 ? `serial ${cell}` : String(cell).padStart(12, '0'))
    const { index } = await openFrom(
      `code,design,serial,cell\n${rowsOf(256, (i) => `F,D${i % 3},${serialOf(i + 1)},${i + 1}`)}G,D0,1,1\n`,
    )
    for (let cell = 1; cell <= 256; cell++) {
      expect(index.find('F', cell)).toEqual({ design: `D${(cell - 1) % 3}`, serial: serialOf(cell), cell })
    }
    expect(index.find('G', 1)).toEqual({ design: 'D0', serial: '1', cell: 1 })
  })

  it('is a duplicate with the same cell only', async () => {
    const { findings } = await refusalOf('code,design,cell\nF,D,1\nF,D,2\nF,E,1\n')
    expect(findings).toHaveLength(1)
    expect(findings[0]).toMatchObject({ code: 'table-duplicate', row: 4, measured: 'F' })
    expect(findings[0]?.message).toContain('row 2 for cell 1')
  })
})

describe('a duplicate', () => {
  it('is found with both rows, each row after the first held against that one', async () => {
    const { findings } = await refusalOf('code,design\nA,D\nB,D\nA,E\nC,D\nB,D\nA,D\n')
    expect(findings.map(({ row, message }) => `${row} ${message.replace(/.*row/, 'row')}`)).toEqual([
      '4 row 2 already',
      '6 row 3 already',
      '7 row 2 already',
    ])
  })

  it('is one however it is quoted, and none where a letter, a space or a form differs', async () => {
    expect((await refusalOf('code,design\nA B,D\n"A B",D\n')).findings).toMatchObject([{ row: 3 }])
    // Composed and decomposed é are different bytes, so different codes.
    const { built } = await openFrom('code,design\nab,D\naB,D\nab ,D\na b,D\ncafé,D\ncafe\u0301,D\n')
    expect(built.codes).toBe(6)
  })

  it('is listed among the first hundred by row, the rest counted, with what else is wrong', async () => {
    const count = 40_000
    const text = `code,design\n${rowsOf(count, (i) => `c${i},D`)},D\n${rowsOf(500, (i) => `c${i * 7},D`)}`
    const { findings, findingsTotal } = await refusalOf(text, leastMemory)
    const first = count + 3
    expect(findings.filter(({ code }) => code === 'table-code').map(({ row }) => row)).toEqual([first - 1])
    const duplicates = findings.filter(({ code }) => code === 'table-duplicate')
    expect(duplicates.slice(0, 100).map(({ row }) => row)).toEqual(Array.from({ length: 100 }, (_, i) => first + i))
    expect(duplicates[100]?.message).toBe('and 400 more like these, 500 in all')
    expect(findingsTotal).toBe(501)
  })

  it('is found in bounded memory where nearly every row is the same code', async () => {
    const count = 250_000
    const { findings, findingsTotal } = await refusalOf(
      `code,design\n${rowsOf(count, (i) => `same,D${i % 2}`)}`,
      leastMemory,
    )
    expect(findingsTotal).toBe(count - 1)
    expect(findings[99]).toMatchObject({ row: 102, message: expect.stringContaining('row 2 already') })
  })
})

describe('codes made to fall together', () => {
  it('are spread by another key of the hash', async () => {
    const key = hashKeyOf(0)
    const together = new Map<number, string[]>()
    let codes: string[] = []
    for (let i = 0; codes.length < 60; i++) {
      const code = `x${i}`
      const byteLength = packText(code)
      hashWords(packed, { from: 0, count: wordsOf(byteLength), byteLength }, key)
      const bucket = bucketOf(hashed[0]!, 4_096)
      codes = [...(together.get(bucket) ?? []), code]
      together.set(bucket, codes)
    }
    const { index, path } = await openFrom(`code,design\n${rowsOf(60, (i) => `${codes[i]},D${i}`)}`)
    const bytes = await readFile(path)
    expect(decodeHeader(bytes, bytes.length).attempt).toBe(1)
    expect(codes.map((code) => index.find(code)?.design)).toEqual(codes.map((_, i) => `D${i}`))
  })
})

describe('limits', () => {
  it('hold for the number of designs', async () => {
    const { findings, findingsTotal } = await refusalOf(
      `code,design\n${rowsOf(limits.designsMax + 3, (i) => `c${i},D${i}`)}`,
    )
    expect(findingsTotal).toBe(3)
    expect(findings[0]).toMatchObject({ code: 'table-value', row: limits.designsMax + 2, limit: limits.designsMax })
  })
})

describe('progress', () => {
  it('goes through reading, indexing and sealing, each from little to all', async () => {
    const seen: BuildProgress[] = []
    await openFrom(`code,design\n${rowsOf(60_000, (i) => `code number ${i},D`)}`, { progress: (at) => seen.push(at) })
    expect([...new Set(seen.map(({ step }) => step))]).toEqual(['reading', 'indexing', 'sealing'])
    for (const step of ['reading', 'indexing', 'sealing']) {
      const own = seen.filter((at) => at.step === step)
      expect(own.map(({ done }) => done)).toEqual(own.map(({ done }) => done).toSorted((a, b) => a - b))
      expect(own.at(-1)!.done).toBe(own.at(-1)!.total)
    }
  })
})

describe('nothing stays', () => {
  it('of a build that was aborted, at whatever step', async () => {
    for (const step of ['reading', 'indexing', 'sealing'] as const) {
      const temporaryFolder = await tableFolder()
      const stop = new AbortController()
      const building = buildFrom(`code,design\n${rowsOf(60_000, (i) => `code number ${i},D`)}`, {
        temporaryFolder,
        signal: stop.signal,
        progress: (at) => at.step === step && stop.abort(new Error(`stopped while ${step}`)),
      })
      await expect(building).rejects.toThrow(`stopped while ${step}`)
      expect(await readdir(temporaryFolder)).toEqual(['codes.csv'])
    }
  })

  it('of a table that was refused', async () => {
    const { folder } = await buildFrom('code,design\nA,D\nA,D\n')
    expect(await readdir(folder)).toEqual(['codes.csv'])
  })

  it('beside the index of a sound one', async () => {
    const { folder } = await buildFrom('code,design\nA,D\n')
    expect((await readdir(folder)).toSorted()).toEqual(['codes.csv', 'index'])
  })
})
