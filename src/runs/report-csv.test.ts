// The roll record as CSV: a row a label, and nothing in it that a spreadsheet would run.
import { parse } from 'csv-parse/sync'
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, job, openBench, version } from '../../tests/fixtures/runs.ts'
import { sha256Hex } from '../kernel/bytes.ts'
import { reportCsv } from './report-csv.ts'
import type { Run } from './run.ts'

let bench: Bench
afterEach(() => bench.close())

async function csvOf(run: Run): Promise<string> {
  let text = ''
  for await (const chunk of reportCsv(bench.database, run)) text += chunk
  return text
}
const rowsOf = async (run: Run): Promise<Record<string, string>[]> =>
  parse(await csvOf(run), { columns: true, bom: true, record_delimiter: '\r\n' })

describe('the roll record as CSV', () => {
  it('has a row a label with what was read, answered, revoked and laid', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1), null])])
    await run.laid([{ frame: 1, cell: 1, laid: 'part' }])
    await run.frames([event(2, [code('A', 2), code('B', 3)])])
    await run.withdraw({ by: 'lead', why: 'wrong', job: 'J', design: 'A', version: 2 })
    const rows = await rowsOf(run)
    expect(rows.map((row) => [row.frame, row.cell, row.lane, row.decision, row.flags, row.code])).toEqual([
      ['0', '1', '1', 'lay', '', code('A', 900_001)],
      ['0', '2', '2', 'lay', '', code('B', 900_002)],
      ['1', '1', '1', 'lay', '', code('A', 1)],
      ['1', '2', '2', 'skip', 'no-read', ''],
      ['2', '1', '1', 'lay', '', code('A', 2)],
      ['2', '2', '2', 'lay', '', code('B', 3)],
    ])
    expect(rows.map(({ setup }) => setup)).toEqual(['yes', 'yes', '', '', '', ''])
    // What was laid already is not revoked.
    expect(rows.map(({ revoked }) => revoked)).toEqual(['yes', '', '', '', 'yes', ''])
    expect(rows.map(({ laid }) => laid)).toEqual(['', '', 'part', '', '', ''])
    expect(rows[2]).toMatchObject({
      place: '1',
      positionMm: '60',
      job: 'J',
      design: 'A',
      version: '2',
      print: "'02",
      serial: "'000001",
    })
  })

  it('is RFC 4180 with a byte-order mark, also for a run without labels', async () => {
    bench = await openBench()
    const text = await csvOf(await bench.open())
    expect(text.startsWith('\ufeffframe,place,')).toBe(true)
    expect(text.endsWith('ledgerIndex\r\n')).toBe(true)
    expect(text.split('\r\n')).toHaveLength(2)
  })

  it('says what was read where no job knew it', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, ['not ours', 'nor, this "one"\nat all'])])
    expect((await rowsOf(run)).slice(2).map((row) => [row.flags, row.code])).toEqual([
      ['unknown-code', 'not ours'],
      ['unknown-code', 'nor, this "one"\nat all'],
    ])
  })

  it('says what a picture showed that was read after the next one', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    for (const frame of [1, 2]) await run.capture({ frame, positionMm: frame * 60, digest: sha256Hex(`${frame}`) })
    await run.pictureRead(2, [{ cell: 1, text: 'late one' }])
    await run.pictureRead(1, [{ cell: 2, text: 'early one' }])
    const rows = (await rowsOf(run)).slice(2)
    expect(rows.map((row) => [row.frame, row.cell, row.code])).toEqual([
      ['1', '1', ''],
      ['1', '2', 'early one'],
      ['2', '1', 'late one'],
      ['2', '2', ''],
    ])
  })

  it.each(['=1+1', '+1', '-1', '@SUM(A1)', '\t=1', '\r=1'])('makes no formula of the code %j', async (text) => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [text, null])])
    const [, , row] = await rowsOf(run)
    expect(row?.code).toBe(`'${text}`)
  })

  it('makes no formula of a print version or serial that a code carries', async () => {
    bench = await openBench([job('J', [version('A', 1), version('B', 1)], '{job}/{design}/{print:2}/{serial:6}')])
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, ['J/A/=1/+12345', null])])
    const [row] = await rowsOf(run)
    expect(row).toMatchObject({ flags: 'print-version-mismatch', print: "'=1", serial: "'+12345" })
  })

  it('keeps long digits the text that they are', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, ['12345678901234567890', '0012'])])
    expect((await rowsOf(run)).slice(2).map((row) => row.code)).toEqual(["'12345678901234567890", "'0012"])
  })

  it('leaves a negative position the number that it is', async () => {
    bench = await openBench()
    const run = await bench.open()
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, [null, null], -12.5)])
    expect((await rowsOf(run))[0]?.positionMm).toBe('-12.5')
  })
})
