// The sequence from the press: what its rows say, and every fault by row, whatever was wrong before.
import { mkdtemp, open, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { describe, expect, it, onTestFinished } from 'vitest'
import { job, version } from '../../tests/fixtures/runs.ts'
import { readSequence } from './sequence.ts'
import { cellsOf, layoutOf } from './sequence-layout.ts'

const { frame } = job('J', [version('A', 1)])
const byCell = layoutOf(frame)
const as = (identifies: 'lane' | 'frame', onRoll?: number[]) =>
  layoutOf({ ...frame, codeAt: { ...frame.codeAt, identifies } }, onRoll)

async function read(text: string | Uint8Array, layout?: typeof byCell) {
  const folder = await mkdtemp(path.join(tmpdir(), 'rollcall-sequence-'))
  onTestFinished(() => rm(folder, { recursive: true, force: true }))
  const file = path.join(folder, 'roll.csv')
  await writeFile(file, text)
  const handle = await open(file, 'r')
  onTestFinished(() => handle.close())
  const rows: string[] = []
  const outcome = await readSequence({
    handle,
    file: 'roll.csv',
    layout,
    take: ({ position, cell, ordinal, code }) => rows.push(`${position} ${cell} ${ordinal} ${code}`),
  })
  const faults = outcome.findings.map(({ code, row, measured }) => `${code} ${row} ${measured}`)
  return { ...outcome, taken: rows, faults }
}

describe('a sequence', () => {
  it('is read in order, with columns in any order and quotes as CSV has them', async () => {
    const { taken, rows, positions, findings } = await read(
      'code,cell,position\n"a,""1",1,0\nb,2,0\nc,1,000002\n',
      byCell,
    )
    expect(taken).toEqual(['0 1 0 a,"1', '0 2 0 b', '2 1 0 c'])
    expect({ rows, positions, findings }).toEqual({ rows: 3, positions: 2, findings: [] })
  })

  it('may come in UTF-8 or UTF-16 with a mark, its lines ended in any way', async () => {
    for (const end of ['\n', '\r\n', '\r']) {
      const text = ['position,cell,code', '0,1,Prämie', '1,1,木', ''].join(end)
      for (const bytes of [Buffer.from(text), Buffer.from(`\uFEFF${text}`), Buffer.from(`\uFEFF${text}`, 'utf16le')])
        expect((await read(bytes)).taken).toEqual(['0 1 0 Prämie', '1 1 0 木'])
    }
  })

  it('may leave out cells where a code stands for the frame, or lane by lane', async () => {
    expect(await read('position,code\n0,a\n1,b\n', as('frame'))).toMatchObject({
      taken: ['0 0 0 a', '1 0 0 b'],
      faults: [],
    })
    const lanes = await read('position,cell,code\n0,,a\n0,,b\n1,,c\n1,,d\n1,,e\n', as('lane'))
    expect(lanes.taken).toEqual(['0 0 0 a', '0 0 1 b', '1 0 0 c', '1 0 1 d'])
    expect(lanes.faults).toEqual(['sequence-cell 6 no cell'])
    expect((await read('position,code\n0,a\n', byCell)).faults).toEqual(['sequence-cell 2 no cell'])
    expect((await read('position,code\n0,a\n0,b\n', as('frame'))).faults).toEqual(['sequence-cell 3 no cell'])
    // A roll of one lane has one cell a frame.
    expect((await read('position,code\n0,a\n', layoutOf(frame, [2]))).faults).toEqual([])
  })

  it.each([
    ['', ['sequence-header 1 undefined']],
    ['position,cod\n0,a\n', ['sequence-header 1 cod', 'sequence-header 1 position,cod']],
    ['Position,code\n0,a\n', ['sequence-header 1 Position', 'sequence-header 1 Position,code']],
    [
      'position;code\n0;a\n',
      ['sequence-header 1 position;code', 'sequence-header 1 position;code', 'sequence-header 1 position;code'],
    ],
    ['"position"x,code\n0,a\n', ['sequence-header 1 undefined']],
    ['position,code\n', ['sequence-row 2 undefined']],
    ['position,code\n0\n1,b,c\n', ['sequence-row 2 1', 'sequence-row 3 3']],
    ['position,code\n0,"a\n1,b\n', ['sequence-row 2 0,"a']],
    [
      'position,code\nx,a\n-1,b\n1.5,c\n100000000,d\n,e\n',
      [2, 3, 4, 5, 6].map((row, i) => `sequence-position ${row} ${['x', '-1', '1.5', '100000000', ''][i]}`),
    ],
    ['position,code\n0,a\n5,b\n3,c\n4,d\n', ['sequence-position 4 3']],
    ['position,cell,code\n0,1,a\n0,1,b\n1,1,c\n', ['sequence-cell 3 1']],
    ['position,cell,code\n0,0,a\n0,x,b\n0,257,c\n', ['sequence-cell 2 0', 'sequence-cell 3 x', 'sequence-cell 4 257']],
    ['position,cell,code\n0,,a\n0,1,b\n1,1,c\n1,,d\n', ['sequence-cell 3 1', 'sequence-cell 5 no cell']],
    [`position,code\n0,\n1,${'x'.repeat(201)}\n2,${'é'.repeat(100)}\n`, ['sequence-code 2 ', 'sequence-code 3 201']],
    ['position,code\n0,a\0\n', ['sequence-encoding 2 0,a␀']],
  ])('is refused by row: %j', async (text, wanted) => {
    expect((await read(text)).faults).toEqual(wanted)
  })

  it('knows the cells of the roll where it has them', async () => {
    expect((await read('position,cell,code\n0,3,a\n0,1,b\n', byCell)).faults).toEqual(['sequence-cell 2 3'])
    expect((await read('position,cell,code\n0,2,a\n', layoutOf(frame, [1]))).faults).toEqual(['sequence-cell 2 2'])
  })

  it('that is no text is told by the byte', async () => {
    const bytes = Buffer.concat([Buffer.from('position,code\n0,Pr'), Buffer.from([0xe9]), Buffer.from('mie\n1,b\n')])
    expect(await read(bytes)).toMatchObject({ faults: ['sequence-encoding 2 0xE9'], taken: ['1 0 0 b'] })
  })

  it('lists the first hundred faults of a kind and counts the rest', async () => {
    const rows = Array.from({ length: 1_000 }, (_, i) => `${i},\n`).join('')
    const { findings, findingsTotal } = await read(`position,code\n${rows}`)
    expect([findings.length, findingsTotal]).toEqual([101, 1_000])
    expect(findings.at(-1)?.message).toBe('and 900 more like these, 1,000 in all')
  })
})

describe('a row', () => {
  it('stands for its cell, its lane or its frame', () => {
    expect(cellsOf(byCell, { cell: 2, ordinal: 0 })).toEqual([2])
    expect(cellsOf(as('frame'), { cell: 0, ordinal: 0 })).toEqual([1, 2])
    expect(cellsOf(as('lane'), { cell: 0, ordinal: 1 })).toEqual([2])
    expect(cellsOf(as('lane'), { cell: 0, ordinal: 2 })).toEqual([])
  })
})
