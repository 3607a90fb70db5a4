// What follows from a run: finished rolls, pull list, make-good list, reconciliation, from a real run over a real database.
import { open, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { parse } from 'csv-parse/sync'
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, job, openBench, version } from '../../../tests/fixtures/runs.ts'
import { readSequence } from '../../lines/index.ts'
import { openFolderBlobs } from '../../storage/index.ts'
import type { Run } from '../run.ts'
import type { PullRow } from './pull-list.ts'
import { pullListCsv } from './pull-list-csv.ts'
import { openRollRecord, type RollRecord } from './roll-record.ts'

let bench: Bench
afterEach(() => bench.close())

const blobsOf = () =>
  openFolderBlobs({ folder: path.join(bench.folder, 'blobs'), temporary: path.join(bench.folder, 'temporary') })

const recordOf = async (run: Run): Promise<RollRecord> =>
  openRollRecord({ database: bench.database, blobs: await blobsOf() }, run)

const serial = (frame: number, cell: number): string => code(cell === 1 ? 'A' : 'B', 1_000 * cell + frame)

/** Frames 1 to `last`, all read but those named `frame/cell`. */
async function feed(run: Run, last: number, unread: readonly string[] = []): Promise<void> {
  for (let frame = run.state.lastFrame + 1; frame <= last; frame++) {
    const texts = [1, 2].map((cell) => (unread.includes(`${frame}/${cell}`) ? null : serial(frame, cell)))
    await run.frames([event(frame, texts)])
  }
}

async function pulled(record: RollRecord, of: Parameters<RollRecord['pullList']>[0] = {}): Promise<PullRow[]> {
  const rows: PullRow[] = []
  for await (const row of record.pullList(of)) rows.push(row)
  return rows
}

async function text(chunks: AsyncIterable<string>): Promise<string> {
  let all = ''
  for await (const chunk of chunks) all += chunk
  return all
}

describe('the pull list', () => {
  it('has a label laid with a version that was withdrawn since, also where another text was read there later', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 3)
    const withdrawn = { job: 'J', design: 'A', version: 2, releasedAtMs: 1, withdrawnAtMs: 9 }
    await bench.database.catalogue
      .insertInto('versions')
      .values({ ...withdrawn, digest: '', content: '', firstPackage: 1 })
      .execute()
    const laid = async () => (await pulled(await recordOf(run))).filter((row) => row.class === 'laid')
    const before = await laid()
    expect(before.map(({ labels }) => labels)).toEqual([3])
    const designs = async () => (await recordOf(run)).reconciliation().designs
    const counted = await designs()
    await run.frames([event(4, [serial(2, 2), serial(2, 2)], 2 * 60)])
    expect(await laid()).toEqual(before)
    expect(await designs()).toEqual(counted)
  })

  it.each(['cut-out', 'split'])('takes a %s to lie on the web of the threading that it was taken for', async (kind) => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 20)
    await run.material({ event: 're-thread', by: 'lead' })
    // Of the new threading: 600 to 720 mm, which is less than two pitches short of where the event lies.
    await run.frames([event(21, [serial(21, 1), serial(21, 2)], 600)])
    await run.prove({ by: 'lead', lanes: [1, 2] })
    await run.frames([event(22, [serial(22, 1), serial(22, 2)], 660)])
    const body = { positionUm: 780_000, by: 'lead' }
    if (kind === 'split') await run.material({ ...body, event: 'split', roll: 'X' })
    else await run.material({ ...body, event: 'cut-out', toPositionUm: 900_000 })
    await run.close({ by: 'lead' })
    const record = await recordOf(run)
    const frames = record.finished().map(({ roll, frames: count }) => [roll, count])
    if (kind === 'cut-out') expect(record.reconciliation().cutOut.in).toBe(4)
    expect(frames).toEqual(
      kind === 'split'
        ? [
            ['X', 13],
            ['R1-2', 10],
          ]
        : [['R1', 21]],
    )
  })

  it('joins labels in a row, counts metres from the outside, and names the codes beside', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 20, ['5/1', '6/1', '6/2'])
    const rows = await pulled(await recordOf(run))
    // 21 frames of 60 mm; the last one lies outside, the set-up frame inside.
    expect(
      rows.map(({ fromM, toM, cells, labels, class: kind, what }) => [fromM, toM, cells.join(), labels, kind, what]),
    ).toEqual([
      [0.84, 0.96, '1', 2, 'skipped', 'no-read'],
      [0.84, 0.9, '2', 1, 'skipped', 'no-read'],
      [1.2, 1.26, '1,2', 2, 'set-up', 'made as set-up'],
    ])
    expect(rows[0]).toMatchObject({
      codeBefore: serial(7, 1),
      framesBefore: 1,
      codeAfter: serial(4, 1),
      framesAfter: 1,
      firstFrame: 6,
      lastFrame: 5,
      toleranceM: 0.061,
    })
  })

  it('turns round with the roll, and takes a roll as it would be after one more rewinding', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 20, ['5/1'])
    await run.close({ by: 'lead' })
    const record = await recordOf(run)
    const of = ({ fromM, codeBefore, codeAfter }: PullRow) => ({ fromM, codeBefore, codeAfter })
    const wanted = { fromM: 0.3, codeBefore: serial(4, 1), codeAfter: serial(6, 1) }
    expect((await pulled(record, { rewound: true })).map(of)[1]).toEqual(wanted)
    await run.material({ event: 'rewind', roll: 'R1', by: 'lead' })
    expect((await pulled(await recordOf(run))).map(of)[1]).toEqual(wanted)
  })

  it('follows cut-outs, splits and slits: only the lanes of a lane roll, only what is still there', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 20, ['3/1', '9/2', '15/1', '15/2'])
    await run.material({ event: 'cut-out', positionUm: 600_000, toPositionUm: 720_000, by: 'lead' })
    await run.material({ event: 'split', positionUm: 480_000, roll: 'F1', by: 'lead' })
    await run.close({ by: 'lead' })
    await run.material({
      event: 'slit',
      roll: 'R1-2',
      laneRolls: [
        { roll: 'L1', lanes: [1] },
        { roll: 'L2', lanes: [2] },
      ],
      by: 'lead',
    })
    const record = await recordOf(run)
    const rows = await pulled(record)
    expect(rows.map(({ roll, fromM, cells }) => [roll, fromM, cells.join()])).toEqual([
      ['F1', 0.24, '1'],
      ['F1', 0.42, '1,2'],
      ['L1', 0.3, '1'],
      ['L2', 0.3, '2'],
      // Without the two frames that were cut out.
      ['L2', 0.54, '2'],
    ])
    expect(record.finished()).toMatchObject([
      {
        roll: 'F1',
        lengthM: 0.48,
        outerFrame: 7,
        innerFrame: 0,
        // To the end of the last frame, where the split is.
        origins: [{ roll: 'R1', ticket: 'T1', firstFrame: 0, lastFrame: 7, fromMm: 0, toMm: 480 }],
      },
      {
        roll: 'L1',
        lanes: [1],
        slitFrom: 'R1-2',
        lengthM: 0.66,
        labels: 11,
        origins: [{ lastFrame: 9 }, { firstFrame: 12 }],
      },
      { roll: 'L2', lanes: [2], labels: 11 },
    ])
    expect(record.reconciliation()).toMatchObject({
      run: { in: 42, laid: 32, skipped: 4, setUp: 2, spoiled: 4, unaccounted: 0, difference: 0 },
      rolls: [
        { roll: 'F1', in: 16 },
        { roll: 'L1', in: 11, skipped: 1 },
        { roll: 'L2', in: 11, skipped: 2 },
      ],
      cutOut: { in: 4, spoiled: 4 },
    })
  })

  it('names labels that were laid with a version withdrawn since', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 4)
    await run.laid([{ frame: 2, cell: 1, laid: 'part' }])
    await bench.database.catalogue
      .insertInto('versions')
      .values({
        job: 'J',
        design: 'B',
        version: 1,
        digest: '',
        content: '',
        firstPackage: 1,
        releasedAtMs: 1,
        withdrawnAtMs: 9,
      })
      .execute()
    const rows = await pulled(await recordOf(run))
    expect(rows.map(({ cells, frames, what }) => [cells.join(), frames, what])).toEqual([
      ['2', 4, 'lay, version withdrawn since'],
      ['1', 1, 'reported laid in part'],
      ['1,2', 1, 'made as set-up'],
    ])
  })

  it('refuses a roll that the run has not', async () => {
    bench = await openBench()
    const record = await recordOf(await bench.openProved())
    await expect(pulled(record, { roll: 'F9' })).rejects.toMatchObject({ code: 'roll-unknown' })
  })

  it('is CSV without formulas, whatever the codes are', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, ['=1+1', '0012']), event(2, [null, null])])
    const csv = await text(pullListCsv((await recordOf(run)).pullList()))
    const rows = parse(csv, { columns: true, bom: true, record_delimiter: '\r\n' }) as Record<string, string>[]
    expect(rows.map(({ codeFirst, codeAfter }) => [codeFirst, codeAfter])).toContainEqual(["'=1+1", code('A', 900_001)])
    expect(csv).not.toMatch(/(^|,)=/m)
  })
})

describe('the make-good list', () => {
  const sequenceRows = async (csv: string) => {
    const file = path.join(bench.folder, 'make-good.csv')
    await writeFile(file, csv)
    const handle = await open(file)
    const rows: { position: number; cell: number; code: string }[] = []
    const take = ({ position, cell, code: text }: { position: number; cell: number; code: string }) =>
      void rows.push({ position, cell, code: text })
    const outcome = await readSequence({ handle, file, take })
    await handle.close()
    expect(outcome.findings).toEqual([])
    return rows
  }

  it('fills frames with the labels to make again, each in its own cell, as a sequence that can be read', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 6, ['4/2'])
    await run.laid([
      { frame: 2, cell: 1, laid: 'none' },
      { frame: 3, cell: 1, laid: 'part' },
      { frame: 5, cell: 2, laid: 'unknown' },
    ])
    const made = await (await recordOf(run)).makeGood()
    expect(await sequenceRows(await text(made.csv()))).toEqual([
      { position: 0, cell: 1, code: code('A', 900_001) },
      { position: 0, cell: 2, code: code('B', 900_002) },
      { position: 1, cell: 1, code: serial(2, 1) },
      { position: 1, cell: 2, code: serial(5, 2) },
      { position: 2, cell: 1, code: serial(3, 1) },
    ])
    expect(await made.summary()).toMatchObject({
      labels: 6,
      withCode: 5,
      withoutCode: 1,
      laidOnce: 2,
      sections: [{ firstFrame: 4, lastFrame: 4, positionMm: 240, cells: [2], labels: 1 }],
    })
  })

  it('leaves out what was laid elsewhere on the run, duplicates and labels of other jobs', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await feed(run, 2)
    await run.frames([event(3, [serial(1, 1), code('Z', 7, '02', 'K')])])
    // The set-up label comes again and is laid.
    await run.frames([event(4, [code('A', 900_001), serial(4, 2)])])
    const made = await (await recordOf(run)).makeGood()
    expect(await made.summary()).toMatchObject({
      labels: 1,
      withCode: 1,
      laidElsewhere: 2,
      duplicates: 0,
      ofOtherJobs: 1,
    })
    expect(await sequenceRows(await text(made.csv()))).toEqual([{ position: 0, cell: 2, code: code('B', 900_002) }])
  })

  it('counts labels of a print version that nothing fits, and lists no code of theirs', async () => {
    bench = await openBench()
    const run = await bench.openProved()
    await run.frames([event(1, [code('A', 1, '09'), serial(1, 2)])])
    const made = await (await recordOf(run)).makeGood()
    expect(await made.summary()).toMatchObject({ labels: 3, withCode: 2, withoutCode: 0, misprinted: 1 })
    expect(await text(made.csv())).not.toContain('/09/')
  })

  it('gives back codes that a spreadsheet would have run or altered', async () => {
    bench = await openBench([job('J', [version('A', 1), version('B', 1)], '{serial:9}{design:1}')])
    const run = await bench.open({ ticket: { jobs: [{ job: 'J', printVersion: '02' }] } })
    await run.startProving({ by: 'lead' })
    await run.frames([event(0, ['=1+2+3+4+A', "'00000012B"])])
    const csv = await text((await (await recordOf(run)).makeGood()).csv())
    expect(csv).toContain("0,1,'=1+2+3+4+A")
    expect((await sequenceRows(csv)).map(({ code: given }) => given)).toEqual(['=1+2+3+4+A', "'00000012B"])
  })

  it('knows the code of a label that was not read by the sequence, where its neighbours agree', async () => {
    bench = await openBench()
    const rows = Array.from({ length: 30 }, (_, i) => [1, 2].map((cell) => `${i},${cell},${serial(29 - i, cell)}`))
    const bytes = Buffer.from(`position,cell,code\n${rows.flat().join('\n')}\n`)
    const { digest } = await (await blobsOf()).put({ bytes })
    const run = await bench.openProved({ ticket: { sequence: { sha256: digest }, direction: 'reversed' } })
    await feed(run, 12, ['5/1', '6/1', '9/2', '12/2'])
    const made = await (await recordOf(run)).makeGood()
    expect(await made.summary()).toMatchObject({
      withCode: 5,
      withoutCode: 1,
      fromSequence: 3,
      sections: [{ firstFrame: 12 }],
    })
    expect((await sequenceRows(await text(made.csv()))).map((row) => row.code).slice(2)).toEqual([
      serial(5, 1),
      serial(9, 2),
      serial(6, 1),
    ])
  })
})
