// Sources of a roll's frames: captures by name, reads by CSV, each refusal with its file and row.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { problemOf } from '../../tests/fixtures/packages.ts'
import { capturesIn, frameOf, readsIn } from './feed.ts'

let folder: string
beforeEach(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'rollcall-feed-'))
})
afterEach(() => rm(folder, { recursive: true, force: true }))

async function csv(text: string): Promise<string> {
  const file = path.join(folder, 'reads.csv')
  await writeFile(file, text)
  return file
}
const eventsOf = async (text: string) =>
  (await readsIn(await csv(text))).map((feed) => (feed.kind === 'reads' ? feed.event : undefined))

describe('a CSV of reads', () => {
  it('is a frame for each run of rows with one frame number', async () => {
    expect(
      await eventsOf(
        'frame,positionMm,cell,text,symbology,quality\n0,0.5,1,A/1,]Q1,0.75\n0,0.5,2,,,\n3,180,1,A/2,,1\n',
      ),
    ).toEqual([
      {
        frame: 0,
        positionMm: 0.5,
        reads: [
          { cell: 1, text: 'A/1', symbology: ']Q1', quality: 0.75 },
          { cell: 2, text: null },
        ],
      },
      { frame: 3, positionMm: 180, reads: [{ cell: 1, text: 'A/2', quality: 1 }] },
    ])
  })

  it('may name lanes, or nothing but frame, position and text, in any order, with a byte-order mark', async () => {
    expect(await eventsOf('\ufefftext,lane,positionMm,frame\r\nA,2,-1,7\r\n')).toEqual([
      { frame: 7, positionMm: -1, reads: [{ lane: 2, text: 'A' }] },
    ])
  })

  it('keeps a quoted text as it is, commas, quotes, newlines and spaces too', async () => {
    const [event] = await eventsOf('frame,positionMm,text\n0,0," a,""b""\nc "\n')
    expect(event?.reads[0]?.text).toBe(' a,"b"\nc ')
  })

  it('without rows is no frames', async () => {
    expect(await eventsOf('frame,positionMm,text\n')).toEqual([])
  })

  const head = 'frame,positionMm,cell,lane,text,symbology,quality'
  const refused: Record<string, { text: string; row: number; message: string; measured?: string | number }> = {
    'a column too many': { text: 'frame,positionMm,text,colour\n', row: 1, message: 'unknown colour' },
    'a column missing': { text: 'frame,text\n0,x\n', row: 1, message: 'missing positionMm' },
    'other separators': { text: 'frame;positionMm;text\n0;0;x\n', row: 1, message: 'missing frame' },
    'no frame number': {
      text: `${head}\n0,0,1,,a,,\nx,60,1,,b,,\n`,
      row: 3,
      message: 'column frame is not a number',
      measured: 'x',
    },
    'an empty position': {
      text: `${head}\n0,,1,,a,,\n`,
      row: 2,
      message: 'column positionMm is not a number',
      measured: '',
    },
    'a fraction of a frame': {
      text: `${head}\n0.5,0,1,,a,,\n`,
      row: 2,
      message: 'column frame does not fit',
      measured: '0.5',
    },
    'a frame below zero': {
      text: `${head}\n-1,0,1,,a,,\n`,
      row: 2,
      message: 'column frame does not fit',
      measured: '-1',
    },
    'cell 0': { text: `${head}\n0,0,0,,a,,\n`, row: 2, message: 'column cell does not fit', measured: '0' },
    'a quality over 1': {
      text: `${head}\n0,0,1,,a,,75\n`,
      row: 2,
      message: 'column quality does not fit',
      measured: '75',
    },
    'a long symbology': { text: `${head}\n0,0,1,,a,datamatrix,\n`, row: 2, message: 'column symbology does not fit' },
    'two positions of a frame': {
      text: `${head}\n0,0,1,,a,,\n0,1,2,,b,,\n`,
      row: 3,
      message: 'frame 0 has two positions',
      measured: 1,
    },
    'frames that fall': {
      text: `${head}\n1,60,1,,a,,\n0,0,1,,b,,\n`,
      row: 3,
      message: 'frame 0 comes behind frame 1',
      measured: 0,
    },
    'a row too short': { text: `${head}\n0,0,1\n`, row: 2, message: 'the CSV cannot be read' },
    'an open quote': { text: 'frame,positionMm,text\n0,0,"a\n', row: 2, message: 'the CSV cannot be read' },
  }
  it.each(Object.entries(refused))(
    'with %s is refused with its file and row',
    async (_, { text, message, ...place }) => {
      const file = await csv(text)
      const problem = await problemOf(readsIn(file))
      expect(problem.code).toBe('bad-request')
      expect(problem.message).toContain(message)
      expect(problem.place).toMatchObject({ file, ...place })
    },
  )

  it('that is not there is named', async () => {
    const file = path.join(folder, 'none.csv')
    expect(await problemOf(readsIn(file))).toMatchObject({ code: 'not-found', place: { file } })
  })

  it('that is a folder is refused, not waited for', async () => {
    expect(await problemOf(readsIn(folder))).toMatchObject({ code: 'bad-request', place: { file: folder } })
  })
})

describe('a folder of captures', () => {
  const put = (name: string) => writeFile(path.join(folder, name), name)

  it('gives its pictures by frame with position and media type, and passes other files over', async () => {
    for (const name of ['000010_600000.jpg', '9_540000.png', '11_-500.TIF', 'notes.txt', '000012_1.jpg.part'])
      await put(name)
    const feeds = await capturesIn(folder)
    expect(feeds.map((feed) => [frameOf(feed), feed.kind === 'capture' && [feed.positionMm, feed.mediaType]])).toEqual([
      [9, [540, 'image/png']],
      [10, [600, 'image/jpeg']],
      [11, [-0.5, 'image/tiff']],
    ])
    const [first] = feeds
    expect(Buffer.from(first?.kind === 'capture' ? await first.bytes() : []).toString()).toBe('9_540000.png')
  })

  it('is refused with the first picture that names no frame', async () => {
    await put('cat.jpg')
    expect(await problemOf(capturesIn(folder))).toMatchObject({ code: 'capture-name', place: { file: 'cat.jpg' } })
  })

  it('that is not there is named', async () => {
    const missing = path.join(folder, 'none')
    expect(await problemOf(capturesIn(missing))).toMatchObject({ code: 'not-found', place: { file: missing } })
  })
})
