// What a command shows: text for a person on standard output, or JSON with --json; progress and problems on standard error.
import { Problem, toProblemDetails } from '../kernel/problem.ts'

export interface Output {
  readonly json: boolean
  /** The result: the object as JSON with --json, else the text. */
  result(object: unknown, text: string): void
  /** A line for a person; silent with --json. */
  line(text: string): void
  /** Raw text that is the result itself (CSV, HTML, ledgers). */
  raw(text: string | Uint8Array): void
  progress: Progress
}

export interface Progress {
  /** `share` 0 to 1. Drawn in place on a terminal, else a line every two seconds at most. */
  show(share: number, note: string): void
  done(): void
}

const width = 24

function openProgress(silent: boolean): Progress {
  const terminal = process.stderr.isTTY === true
  let lastMs = performance.now()
  let drawn = false
  return {
    show(share, note) {
      const now = performance.now()
      if (silent || now - lastMs < (terminal ? 80 : 2_000)) return
      lastMs = now
      const filled = Math.round(Math.min(1, Math.max(0, share)) * width)
      const text = `[${'='.repeat(filled)}${' '.repeat(width - filled)}] ${String(Math.round(share * 100)).padStart(3)} % ${note}`
      if (terminal) process.stderr.write(`\r\u001b[K${text.slice(0, (process.stderr.columns ?? 80) - 1)}`)
      else process.stderr.write(`${text}\n`)
      drawn = terminal
    },
    done() {
      if (drawn) process.stderr.write('\r\u001b[K')
      drawn = false
    },
  }
}

export function openOutput(json: boolean): Output {
  return {
    json,
    result: (object, text) => process.stdout.write(json ? `${JSON.stringify(object, null, 2)}\n` : `${text}\n`),
    line: (text) => {
      if (!json) process.stdout.write(`${text}\n`)
    },
    raw: (text) => process.stdout.write(text),
    progress: openProgress(json),
  }
}

/** Columns padded to their widest cell, two spaces between. */
export function table(headings: readonly string[], rows: readonly (readonly (string | number)[])[]): string {
  const all = [headings, ...rows].map((row) => row.map(String))
  const widths = headings.map((_, i) => Math.max(...all.map((row) => row[i]?.length ?? 0)))
  return all
    .map((row) =>
      row
        .map((cell, i) => cell.padEnd(widths[i] ?? 0))
        .join('  ')
        .trimEnd(),
    )
    .join('\n')
}

/** A problem for a person: what, where, how far off, then each finding. */
export function problemText(problem: Problem): string {
  const where = [
    problem.place.file,
    problem.place.pointer,
    problem.place.row === undefined ? undefined : `row ${problem.place.row}`,
  ].filter((part) => part !== undefined && part !== '')
  const measured = problem.place.measured === undefined ? '' : ` (is ${problem.place.measured}`
  const limit = problem.place.limit === undefined ? '' : `${measured ? ', ' : ' ('}limit ${problem.place.limit}`
  const scale = measured || limit ? `${measured}${limit})` : ''
  const head = `rollcall: ${problem.code}: ${problem.message}${where.length > 0 ? ` [${where.join(' ')}]` : ''}${scale}`
  const rows = problem.findings.map((finding) => {
    const at = [finding.file, finding.pointer].filter(Boolean).join(' ')
    const is = finding.measured === undefined ? '' : ` is ${finding.measured}`
    const max = finding.limit === undefined ? '' : ` limit ${finding.limit}`
    return `  ${finding.code}${at ? ` at ${at}` : ''}: ${finding.message}${is || max ? ` (${(is + max).trim()})` : ''}`
  })
  return [head, ...rows].join('\n')
}

/** Shows what was thrown and returns the exit code: 2 for a wrong call, 1 for a refusal, 70 for a fault of ours. */
export function showFailure(error: unknown, json: boolean): number {
  if (error instanceof Problem) {
    process.stderr.write(json ? `${JSON.stringify(toProblemDetails(error), null, 2)}\n` : `${problemText(error)}\n`)
    return error.code === 'usage' ? 2 : error.code === 'internal' ? 70 : 1
  }
  process.stderr.write(
    `rollcall: a fault in Rollcall itself\n${error instanceof Error ? error.stack : String(error)}\n`,
  )
  return 70
}
