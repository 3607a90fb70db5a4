// Sources of a roll's frames: a folder of captures, or a CSV of reads.
import { createReadStream } from 'node:fs'
import { readdir, readFile } from 'node:fs/promises'
import path from 'node:path'
import { parse } from 'csv-parse'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { schemaFindings } from '../kernel/schema-findings.ts'
import { type FrameEvent, frameEventSchema, parseCaptureName } from '../runs/index.ts'

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

type Row = Readonly<Record<string, string>>

const required = ['frame', 'positionMm', 'text'] as const
const optional = ['cell', 'lane', 'symbology', 'quality'] as const

interface At {
  readonly file: string
  readonly row: number
}

function numberIn(row: Row, name: string, at: At): number {
  const text = row[name] ?? ''
  const number = Number(text)
  if (text.trim() === '' || !Number.isFinite(number)) {
    throw new Problem('bad-request', `column ${name} is not a number`, { ...at, measured: text })
  }
  return number
}

function checkHeadings(headings: readonly string[], file: string): string[] {
  const unknown = headings.filter((name) => ![...required, ...optional].includes(name as never))
  const missing = required.filter((name) => !headings.includes(name))
  if (unknown.length + missing.length > 0) {
    const what = [...missing.map((name) => `missing ${name}`), ...unknown.map((name) => `unknown ${name}`)].join(', ')
    throw new Problem('bad-request', `the columns do not fit: ${what}`, { file, row: 1 })
  }
  return [...headings]
}

function csvProblem(error: unknown, file: string): Problem {
  if (error instanceof Problem) return error
  const { code, lines, message } = error as NodeJS.ErrnoException & { lines?: number }
  if (code === 'ENOENT') return new Problem('not-found', `there is no file ${file}`, { file })
  const row = lines === undefined ? {} : { row: lines }
  return new Problem('bad-request', `the CSV cannot be read: ${message}`, { file, ...row })
}

/**
 * A CSV with the columns frame, positionMm, text and optionally cell, lane, symbology, quality: a row a read, rows of a frame together
 * and frames rising. An empty text is a no-read. Problems: `not-found`, `bad-request` with file and row.
 */
export async function readsIn(file: string): Promise<readonly Feed[]> {
  const events: FrameEvent[] = []
  const columns = (headings: string[]): string[] => checkHeadings(headings, file)
  const rows = parse({ columns, bom: true, skip_empty_lines: true, trim: true, info: true })
  const source = createReadStream(file)
  try {
    // Destroys the parser with the error of a file that cannot be opened or read.
    source.on('error', (error) => rows.destroy(error)).pipe(rows)
    for await (const { record, info } of rows as AsyncIterable<{ record: Row; info: { lines: number } }>)
      takeRow(events, record, { file, row: info.lines })
  } catch (error) {
    throw csvProblem(error, file)
  } finally {
    source.destroy()
  }
  return events.map((event) => ({ kind: 'reads', event }))
}

/** Refuses reads in cells or lanes that the run will not have, before it is opened. Problem `cell-unknown`. */
export function demandCells(
  feeds: readonly Feed[],
  cells: readonly { readonly cell: number; readonly lane: number }[],
) {
  const known = { cell: new Set(cells.map(({ cell }) => cell)), lane: new Set(cells.map(({ lane }) => lane)) }
  for (const feed of feeds) {
    if (feed.kind !== 'reads') continue
    for (const read of feed.event.reads) {
      for (const what of ['cell', 'lane'] as const) {
        const number = read[what]
        if (number == null || known[what].has(number)) continue
        const limit = [...known[what]].join(', ')
        throw new Problem(
          'cell-unknown',
          `frame ${feed.event.frame} has a read in ${what} ${number}, which the roll has not`,
          {
            measured: number,
            limit,
          },
        )
      }
    }
  }
}

function takeRow(events: FrameEvent[], record: Row, at: At): void {
  const event = eventOf(record, at)
  const last = events.at(-1)
  if (last?.frame !== event.frame) {
    if (last && event.frame < last.frame) {
      const place = { ...at, measured: event.frame, limit: last.frame }
      throw new Problem('bad-request', `frame ${event.frame} comes behind frame ${last.frame}`, place)
    }
    events.push(event)
  } else if (last.positionMm !== event.positionMm) {
    throw new Problem('bad-request', `frame ${event.frame} has two positions`, {
      ...at,
      measured: event.positionMm,
      limit: last.positionMm,
    })
  } else {
    if (last.reads.length === limits.readsPerFrameMax) {
      const most = limits.readsPerFrameMax
      throw new Problem('bad-request', `frame ${event.frame} has more than ${most} reads`, { ...at, limit: most })
    }
    last.reads.push(...event.reads)
  }
}

function eventOf(record: Row, at: At): FrameEvent {
  const { text, symbology } = record
  const read = {
    text: text === '' ? null : text,
    ...(record.cell ? { cell: numberIn(record, 'cell', at) } : {}),
    ...(record.lane ? { lane: numberIn(record, 'lane', at) } : {}),
    ...(symbology ? { symbology } : {}),
    ...(record.quality ? { quality: numberIn(record, 'quality', at) } : {}),
  }
  const event = { frame: numberIn(record, 'frame', at), positionMm: numberIn(record, 'positionMm', at), reads: [read] }
  const parsed = frameEventSchema.safeParse(event)
  if (parsed.success) return parsed.data
  const [finding] = schemaFindings(parsed.error, event, 'bad-request')
  const column = finding?.pointer?.split('/').at(-1)
  throw new Problem('bad-request', `column ${column} does not fit: ${finding?.message}`, {
    ...at,
    ...(column ? { measured: record[column] ?? '' } : {}),
  })
}
