// Sources of a roll's frames: a folder of captures, or a CSV of reads.
import { createReadStream } from 'node:fs'
import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import { parse } from 'csv-parse'
import { Problem } from '../kernel/problem.ts'
import { type FrameEvent, parseCaptureName } from '../runs/index.ts'

export type Feed =
  | {
      readonly kind: 'capture'
      readonly frame: number
      readonly positionMm: number
      readonly mediaType: string
      bytes(): Promise<Uint8Array>
    }
  | { readonly kind: 'reads'; readonly event: FrameEvent }

const mediaTypes: Readonly<Record<string, string>> = {
  '.png': 'image/png',
  '.jpg': 'image/jpeg',
  '.jpeg': 'image/jpeg',
  '.tif': 'image/tiff',
  '.tiff': 'image/tiff',
}

/** The captures in a folder, by frame. Files whose ending is no picture's are passed over; a picture with another name is refused. */
export async function capturesIn(folder: string): Promise<readonly Feed[]> {
  const names = await readdir(folder).catch(() => {
    throw new Problem('not-found', `there is no folder ${folder}`, { file: folder })
  })
  return names
    .flatMap((name): Feed[] => {
      const mediaType = mediaTypes[path.extname(name).toLowerCase()]
      if (!mediaType) return []
      const { frame, positionUm } = parseCaptureName(name)
      return [
        {
          kind: 'capture',
          frame,
          positionMm: positionUm / 1000,
          mediaType,
          bytes: () => readFile(path.join(folder, name)),
        },
      ]
    })
    .toSorted((a, b) => frameOf(a) - frameOf(b))
}

export const frameOf = (feed: Feed): number => (feed.kind === 'capture' ? feed.frame : feed.event.frame)

interface Row {
  readonly frame: string
  readonly positionMm: string
  readonly cell?: string
  readonly lane?: string
  readonly text: string
  readonly symbology?: string
  readonly quality?: string
}

const required = ['frame', 'positionMm', 'text'] as const
const optional = ['cell', 'lane', 'symbology', 'quality'] as const

function numberIn(row: Row, name: keyof Row, at: { file: string; row: number }): number {
  const text = row[name] ?? ''
  const number = Number(text)
  if (text.trim() === '' || !Number.isFinite(number)) {
    throw new Problem('bad-request', `column ${name} is not a number`, { ...at, measured: text })
  }
  return number
}

/**
 * A CSV with the columns frame, positionMm, text and optionally cell, lane, symbology, quality: a row a read, rows of a frame together.
 * An empty text is a no-read. Problem `bad-request` with file and row.
 */
export async function readsIn(file: string): Promise<readonly Feed[]> {
  const events: FrameEvent[] = []
  const check = (headings: string[]): string[] => {
    const unknown = headings.filter((name) => ![...required, ...optional].includes(name as never))
    const missing = required.filter((name) => !headings.includes(name))
    if (unknown.length + missing.length > 0) {
      const what = [...missing.map((name) => `missing ${name}`), ...unknown.map((name) => `unknown ${name}`)].join(', ')
      throw new Problem('bad-request', `the columns do not fit: ${what}`, { file, row: 1 })
    }
    return headings
  }
  const rows = createReadStream(file).pipe(
    parse({ columns: check, bom: true, skip_empty_lines: true, trim: true, info: true }),
  )
  try {
    for await (const { record, info } of rows as AsyncIterable<{ record: Row; info: { lines: number } }>)
      takeRow(events, record, { file, row: info.lines })
  } catch (error) {
    if (error instanceof Problem) throw error
    throw new Problem('bad-request', `the CSV cannot be read: ${(error as Error).message}`, { file })
  }
  return events.map((event) => ({ kind: 'reads', event }))
}

function takeRow(events: FrameEvent[], record: Row, at: { file: string; row: number }): void {
  const frame = numberIn(record, 'frame', at)
  const positionMm = numberIn(record, 'positionMm', at)
  const read: FrameEvent['reads'][number] = {
    text: record.text === '' ? null : record.text,
    ...(record.cell ? { cell: numberIn(record, 'cell', at) } : {}),
    ...(record.lane ? { lane: numberIn(record, 'lane', at) } : {}),
    ...(record.symbology ? { symbology: record.symbology } : {}),
    ...(record.quality ? { quality: numberIn(record, 'quality', at) } : {}),
  }
  const last = events.at(-1)
  if (last?.frame !== frame) events.push({ frame, positionMm, reads: [read] })
  else if (last.positionMm !== positionMm) {
    throw new Problem('bad-request', `frame ${frame} has two positions`, {
      ...at,
      measured: positionMm,
      limit: last.positionMm,
    })
  } else last.reads.push(read)
}
