// What a bench reports: rows of one table, with the rounds they were taken from and what they are held against in the same run.
import { median, quantile } from './rounds.ts'

export interface Against {
  readonly what: string
  /** Median of its rounds, in the row's unit. */
  readonly figure: number
  /** Ours over its speed, median of the rounds' own ratios: 1 is as fast, 0.5 half as fast. */
  readonly speed: number
}

export interface Row {
  readonly what: string
  readonly unit: string
  /** Median of the rounds. */
  readonly figure: number
  readonly rounds: number
  /** Least and greatest of the rounds. */
  readonly spread: readonly [number, number]
  readonly latency?: { readonly p50: number; readonly p99: number; readonly max: number; readonly unit: string }
  readonly against: readonly Against[]
  readonly note?: string
}

interface Draft {
  readonly what: string
  readonly unit: string
  /** One figure a round. */
  readonly figures: readonly number[]
  readonly against?: readonly { readonly what: string; readonly figures: readonly number[] }[]
  readonly latencies?: { readonly values: readonly number[]; readonly unit: string }
  readonly note?: string | undefined
}

/** A row of a rate: more is faster. */
export const rateRow = (draft: Draft): Row => rowOf(draft, ({ ours, theirs }) => ours / theirs)

/** A row of a time or a cost: less is faster. */
export const timeRow = (draft: Draft): Row => rowOf(draft, ({ ours, theirs }) => theirs / ours)

function rowOf(draft: Draft, speedOf: (pair: { ours: number; theirs: number }) => number): Row {
  const { figures, latencies, note } = draft
  const against = (draft.against ?? []).map((other) => {
    const speeds = figures.flatMap((ours, round) => {
      const theirs = other.figures[round]
      return theirs === undefined ? [] : [speedOf({ ours, theirs })]
    })
    return { what: other.what, figure: median(other.figures), speed: median(speeds) }
  })
  return {
    what: draft.what,
    unit: draft.unit,
    figure: median(figures),
    rounds: figures.length,
    spread: [Math.min(...figures), Math.max(...figures)],
    ...(latencies ? { latency: { ...percentiles(latencies.values), unit: latencies.unit } } : {}),
    against,
    ...(note === undefined ? {} : { note }),
  }
}

function percentiles(values: readonly number[]): { p50: number; p99: number; max: number } {
  const sorted = values.toSorted((a, b) => a - b)
  return { p50: quantile(sorted, 0.5), p99: quantile(sorted, 0.99), max: sorted.at(-1) ?? 0 }
}

/** Three figures that say something; thousands apart. */
export function shown(value: number): string {
  if (value === 0) return '0'
  const size = Math.abs(value)
  const digits = size >= 100 ? 0 : size >= 10 ? 1 : size >= 1 ? 2 : 3
  return value.toLocaleString('en-GB', { minimumFractionDigits: digits, maximumFractionDigits: digits })
}

const headings = [
  'what',
  'figure',
  'p50 / p99 / max',
  'held against (ours over its speed)',
  'spread over rounds',
] as const

function cellsOf(row: Row): readonly string[] {
  const { latency, spread, rounds } = row
  const against = row.against.map(
    (other) => `${other.what}: ${shown(other.figure)} ${row.unit} (${shown(100 * other.speed)} %)`,
  )
  const [least, most] = spread
  return [
    row.what,
    `${shown(row.figure)} ${row.unit}`,
    latency ? `${shown(latency.p50)} / ${shown(latency.p99)} / ${shown(latency.max)} ${latency.unit}` : '',
    against.join('; '),
    rounds > 1 ? `${shown(least)} to ${shown(most)} in ${rounds}` : 'one round',
  ]
}

/** Rows as aligned columns for a terminal, notes below them. */
export function textTable(rows: readonly Row[]): string {
  const all = [[...headings], ...rows.map(cellsOf)]
  const widths = headings.map((_, column) => Math.max(...all.map((cells) => (cells[column] ?? '').length)))
  const lines = all.map((cells) =>
    cells
      .map((cell, column) => cell.padEnd(widths[column] ?? 0))
      .join('  ')
      .trimEnd(),
  )
  return [...lines, ...notesOf(rows).map((note) => `* ${note}`)].join('\n')
}

export function markdownTable(rows: readonly Row[]): string {
  const line = (cells: readonly string[]): string =>
    `| ${cells.map((cell) => cell.replaceAll('|', '\\|')).join(' | ')} |`
  const lines = [line(headings), line(headings.map(() => '---')), ...rows.map((row) => line(cellsOf(row)))]
  return [...lines, '', ...notesOf(rows).map((note) => `- ${note}`)].join('\n')
}

const notesOf = (rows: readonly Row[]): string[] =>
  rows.flatMap(({ what, note }) => (note === undefined ? [] : [`${what}: ${note}`]))
