// Reading code tables: encodings, line ends and quotes, and every finding with its row.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { readTable } from '../../../tests/fixtures/code-tables.ts'
import type { Finding } from '../../kernel/problem.ts'

const fields = async (text: string | Uint8Array) => (await readTable(text)).rows.map((row) => row.fields)
const findingsOf = async (text: string | Uint8Array): Promise<readonly Finding[]> => (await readTable(text)).findings
const brief = (findings: readonly Finding[]) => findings.map(({ code, row }) => `${code} ${row}`)

const utf16 = (text: string, { bigEndian = false } = {}): Buffer => {
  const bytes = Buffer.from(`\uFEFF${text}`, 'utf16le')
  return bigEndian ? bytes.swap16() : bytes
}
const twoRows = [
  { code: 'A1', design: 'Quitte', print: '01' },
  { code: 'A2', design: 'Pflaume é 木 𝌆', print: '02' },
]
const twoLines = ['code,design,print', 'A1,Quitte,01', 'A2,Pflaume é 木 𝌆,02', '']

describe('the text of a table', () => {
  it('may be UTF-8 with or without byte order mark, or UTF-16 of either order with one', async () => {
    const text = twoLines.join('\n')
    expect(await fields(text)).toEqual(twoRows)
    expect(await fields(`\uFEFF${text}`)).toEqual(twoRows)
    expect(await fields(utf16(text))).toEqual(twoRows)
    expect(await fields(utf16(text, { bigEndian: true }))).toEqual(twoRows)
  })

  it('may end its lines with LF, CRLF or lone CR, the last one or not', async () => {
    for (const end of ['\n', '\r\n', '\r']) {
      const text = twoLines.join(end)
      expect(await fields(text)).toEqual(twoRows)
      expect(await fields(text.slice(0, -end.length))).toEqual(twoRows)
      expect((await readTable(text)).rows.map(({ line }) => line)).toEqual([2, 3])
    }
  })

  it('may have its columns in any order, and only those that are needed', async () => {
    expect(await fields('serial,design,cell,code\n7,D,3,A\n')).toEqual([
      { code: 'A', design: 'D', serial: '7', cell: '3' },
    ])
    expect(await fields('design,code\nD,A')).toEqual([{ code: 'A', design: 'D' }])
  })

  it('may quote fields, with quotes doubled, commas and line ends inside, and keeps the count of lines', async () => {
    const text = 'code,design\n"A ""1"", x",D\n"two\r\nlines\rand\none",D\n" ",D\n'
    expect((await readTable(text)).rows).toEqual([
      { line: 2, fields: { code: 'A "1", x', design: 'D' } },
      { line: 3, fields: { code: 'two\r\nlines\rand\none', design: 'D' } },
      { line: 7, fields: { code: ' ', design: 'D' } },
    ])
  })

  it('keeps spaces, group separators and all other characters of a code', async () => {
    expect(await fields('code,design\n A\u001D\t,D\n')).toEqual([{ code: ' A\u001D\t', design: 'D' }])
  })
})

describe('the header', () => {
  it.each([
    ['', 'empty'],
    ['code,desing\nA,D\n', 'desing'],
    ['code\nA\n', '“design” is missing'],
    ['code,design,code\nA,D,A\n', 'twice'],
    ['code,design,\nA,D,\n', 'no name'],
    ['Code,design\nA,D\n', 'write it as “code”'],
    ['code;design\nA;D\n', 'commas only'],
    ['code\tdesign\nA\tD\n', 'commas only'],
    ['"code"x,design\nA,D\n', 'cannot be read'],
    [`${'x'.repeat(9_000)}\n`, 'cannot be read'],
  ])('is refused with what is wrong with it: %j', async (text, words) => {
    const { rows, findings } = await readTable(text)
    expect(rows).toEqual([])
    expect(findings.map(({ code, row, file }) => [code, row, file])).toContainEqual(['table-header', 1, 'codes.csv'])
    expect(findings.map(({ message }) => message).join('\n')).toContain(words)
  })

  it('of UTF-16 text without a byte order mark is refused with a hint at the encoding', async () => {
    const [finding] = await findingsOf(Buffer.from('code,design\nA,D\n', 'utf16le'))
    expect(finding).toMatchObject({ code: 'table-header', row: 1 })
    expect(finding?.message).toContain('byte order mark')
  })

  it('without any row below it is a finding', async () => {
    expect(brief(await findingsOf('code,design\n'))).toEqual(['table-row 2'])
  })
})

describe('a row', () => {
  it('with too few or too many columns is found with its number, a trailing comma named', async () => {
    const findings = await findingsOf('code,design\nA,D\nB\nC,D,\nE,D,x,y\n\nF,D\n')
    expect(brief(findings)).toEqual(['table-row 3', 'table-row 4', 'table-row 5', 'table-row 6'])
    expect(findings[0]).toMatchObject({ measured: 1, limit: 2, file: 'codes.csv' })
    expect(findings[1]?.message).toContain('ends with a comma')
    expect(findings[2]?.message).not.toContain('ends with a comma')
    expect(findings[3]?.message).toContain('empty')
  })

  it('with broken quotes is found, and reading goes on with the next line', async () => {
    const text = 'code,design\nA"x,D\n"B"x,D\n"C,D\nE,D\n"F,D\n"G",D\nH,D\n'
    const { rows, findings } = await readTable(text)
    expect(brief(findings)).toEqual(['table-row 2', 'table-row 3', 'table-row 4', 'table-row 6'])
    expect(rows.map(({ line, fields }) => `${line} ${fields.code}`)).toEqual(['5 E', '7 G', '8 H'])
  })

  it('with a quote that is never closed is found where it was opened, however long the rest is', async () => {
    const rest = Array.from({ length: 3_000 }, (_, i) => `code-${i},D`).join('\n')
    const { rows, findings } = await readTable(`code,design\nA,D\n"B,D\n${rest}\n`)
    expect(brief(findings)).toEqual(['table-row 3'])
    expect(findings[0]).toMatchObject({ limit: 8192, message: expect.stringContaining('not closed') })
    expect(rows).toHaveLength(3_001)
  })

  it('longer than the limit is found, and the next one is read', async () => {
    const { rows, findings } = await readTable(`code,design\n${'x'.repeat(3_000_000)},D\nB,D\n`)
    expect(brief(findings)).toEqual(['table-row 2'])
    expect(rows.map(({ line }) => line)).toEqual([3])
  })

  it('with NUL bytes is found, in quotes as well', async () => {
    const findings = await findingsOf('code,design\nA\0,D\n"B\0",D\nC,D\n')
    expect(brief(findings)).toEqual(['table-encoding 2', 'table-encoding 3'])
    expect(findings[0]?.message).toContain('NUL')
  })

  it('that is not UTF-8 is found with the byte and what stands before it', async () => {
    const bytes = Buffer.concat([
      Buffer.from('code,design\nA,D\nB,Pr'),
      Buffer.from([0xe9]),
      Buffer.from('mium\nC,D\n'),
    ])
    const { rows, findings } = await readTable(bytes)
    expect(brief(findings)).toEqual(['table-encoding 3'])
    expect(findings[0]).toMatchObject({ measured: '0xE9', message: expect.stringContaining('after “B,Pr”') })
    expect(rows.map(({ line }) => line)).toEqual([2, 4])
  })

  it('of UTF-16 with half a character is found, also where the file ends within one', async () => {
    expect(brief(await findingsOf(utf16('code,design\nA\uD800,D\nB,D\n')))).toEqual(['table-encoding 2'])
    expect(brief(await findingsOf(utf16('code,design\nA,D\nB,\uDC00\n', { bigEndian: true })))).toEqual([
      'table-encoding 3',
    ])
    expect(brief(await findingsOf(utf16('code,design\nA,D\nB,D').subarray(0, -1)))).toEqual(['table-encoding 3'])
    expect(brief(await findingsOf(utf16('code,design\nA,D\nB,D\uD801')))).toEqual(['table-encoding 3'])
  })

  it('with doubled quotes next to wide characters is sound', async () => {
    expect(await fields('code,design\n"""""木",D\n')).toEqual([{ code: '""木', design: 'D' }])
  })
})

describe('a value', () => {
  it('that is empty is found by its column', async () => {
    const text = 'code,design,print,serial,cell\n,D,1,1,1\nB,,1,1,1\nC,D,,1,1\nD,D,1,,1\nE,D,1,1,\n'
    expect(brief(await findingsOf(text))).toEqual([
      'table-code 2',
      'table-value 3',
      'table-value 4',
      'table-value 5',
      'table-value 6',
    ])
  })

  it('of a code may have 200 bytes and not 201, counted in UTF-8', async () => {
    const fits = ['x'.repeat(200), `${'é'.repeat(100)}`]
    const long = ['x'.repeat(201), `${'é'.repeat(100)}x`]
    const { rows, findings } = await readTable(
      `code,design\n${[...fits, ...long].map((code) => `${code},D`).join('\n')}\n`,
    )
    expect(rows.map(({ fields }) => fields.code)).toEqual(fits)
    expect(findings.map(({ code, row, measured, limit }) => [code, row, measured, limit])).toEqual([
      ['table-code', 4, 201, 200],
      ['table-code', 5, 201, 200],
    ])
  })

  it('of a design or print version may have 120 characters and not 121', async () => {
    const text = `code,design,print\nA,${'木'.repeat(120)},1\nB,${'木'.repeat(121)},1\nC,D,${'1'.repeat(121)}\n`
    const findings = await findingsOf(text)
    expect(brief(findings)).toEqual(['table-value 3', 'table-value 4'])
    expect(findings[0]).toMatchObject({ measured: 121, limit: 120 })
  })

  it.each(['0', '257', '-1', '1.0', '01', 'x', '1 ', '9999'])(
    'of a cell is a number from 1 to 256: not %j',
    async (cell) => {
      expect(brief(await findingsOf(`code,design,cell\nA,D,256\nB,D,1\nC,D,${cell}\n`))).toEqual(['table-value 4'])
    },
  )
})

describe('a number that a spreadsheet has rounded', () => {
  it.each(['1.23457E+12', '8.90123E+11', '1E+15', '9.007E+015', '1.2e+20'])(
    'is recognised by its exponent: %s',
    async (code) => {
      const [finding, ...others] = await findingsOf(`code,design\nA,D\n${code},D\nB,D\n`)
      expect(finding).toMatchObject({ code: 'table-mangled', row: 3, measured: code })
      expect(finding?.message).toContain('spreadsheet')
      expect(others).toEqual([])
    },
  )

  it('is recognised in the serial too, and not where it stands in quotes or only looks alike', async () => {
    expect(brief(await findingsOf('code,design,serial\nA,D,1.5E+12\n'))).toEqual(['table-mangled 2'])
    expect(await findingsOf('code,design\n"1.5E+12",D\n1.5E+1,D\n0E+12,D\nX1E+12,D\n1.E+12,D\nE+12,D\n')).toEqual([])
  })

  it('is recognised by zeros after the fifteenth digit, where chance does not give so many', async () => {
    const rounded = [1, 2, 3, 4].map((i) => `12345678901234${i}000,D`)
    const findings = await findingsOf(`code,design\nA,D\n${rounded.join('\n')}\n`)
    expect(brief(findings)).toEqual(['table-mangled 3', 'table-mangled 4', 'table-mangled 5', 'table-mangled 6'])
    expect(findings[0]).toMatchObject({ measured: '123456789012341000', limit: 15 })
    expect(findings[0]?.message).toContain('4 of 4 longer numbers')
  })

  it('is not seen in running numbers, numbers in quotes, or numbers with leading zeros', async () => {
    const running = Array.from({ length: 5_000 }, (_, i) => `${10n ** 17n + BigInt(i)},D`)
    expect(await findingsOf(`code,design\n${running.join('\n')}\n`)).toEqual([])
    const quoted = [1, 2, 3, 4].map((i) => `"12345678901234${i}000",D`)
    const leading = [1, 2, 3, 4].map((i) => `0345678901234${i}0000,D`)
    expect(await findingsOf(`code,design\n${[...quoted, ...leading].join('\n')}\n`)).toEqual([])
  })
})

describe('findings', () => {
  it('are listed up to a hundred of a kind, and the rest counted', async () => {
    const bad = Array.from({ length: 1_234 }, () => 'A').join('\n')
    const findings = await findingsOf(`code,design\n${bad}\n,D\n`)
    expect(findings).toHaveLength(102)
    expect(findings[99]).toMatchObject({ code: 'table-row', row: 101 })
    expect(findings[100]).toEqual({
      code: 'table-row',
      file: 'codes.csv',
      message: 'and 1,134 more like these, 1,234 in all',
      measured: 1_234,
    })
    expect(findings[101]).toMatchObject({ code: 'table-code', row: 1_236 })
  })
})

describe('however the file is cut into blocks', () => {
  const piece = fc.constantFrom(
    'a',
    'B7',
    'é',
    '木',
    '𝌆',
    ',',
    ',',
    '"',
    '""',
    '\n',
    '\r',
    '\r\n',
    '\0',
    ' ',
    '1E+12',
    'x'.repeat(4_000),
  )
  const text = fc.array(piece, { maxLength: 60 }).map((pieces) => `code,design\n${pieces.join('')}`)

  it('rows and findings are the same', async () => {
    await fc.assert(
      fc.asyncProperty(text, fc.integer({ min: 1, max: 40 }), fc.boolean(), async (table, blockBytes, wide) => {
        const bytes = wide ? utf16(table) : Buffer.from(table)
        expect(await readTable(bytes, blockBytes)).toEqual(await readTable(bytes))
      }),
      { numRuns: 200 },
    )
  })
})
