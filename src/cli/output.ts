// What a command shows: text for a person on standard output, or JSON with --json; progress and problems on standard error.
import { Problem, type ProblemPlace, toProblemDetails } from '../kernel/problem.ts'

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
      const part = Math.min(1, Math.max(0, share))
      const filled = Math.round(part * width)
      const text = `[${'='.repeat(filled)}${' '.repeat(width - filled)}] ${String(Math.round(part * 100)).padStart(3)} % ${note}`
      if (terminal) process.stderr.write(`\r\u001b[K${text.slice(0, (process.stderr.columns || 80) - 1)}`)
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
  const progress = openProgress(json)
  const write = (text: string | Uint8Array): void => {
    // The bar is on the line that the text would be put behind.
    progress.done()
    process.stdout.write(text)
  }
  return {
    json,
    result: (object, text) => write(json ? `${JSON.stringify(object, null, 2)}\n` : `${text}\n`),
    line: (text) => {
      if (!json) write(`${text}\n`)
    },
    raw: write,
    progress,
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

function scaleOf({ measured, limit }: ProblemPlace): string {
  const parts = [
    ...(measured === undefined ? [] : [`is ${measured}`]),
    ...(limit === undefined ? [] : [`limit ${limit}`]),
  ]
  return parts.length > 0 ? ` (${parts.join(', ')})` : ''
}

const placeOf = ({ file, pointer, row }: ProblemPlace): string =>
  [file, pointer, row === undefined ? undefined : `row ${row}`].filter(Boolean).join(' ')

/** A problem for a person: what, where, how far off, then each finding. */
export function problemText(problem: Problem): string {
  const where = placeOf(problem.place)
  const head = `rollcall: ${problem.code}: ${problem.message}${where ? ` [${where}]` : ''}${scaleOf(problem.place)}`
  const [only, second] = problem.findings
  // The head of a single finding says it all.
  if (only && !second && problem.message.includes(only.message)) return head
  const rows = problem.findings.map((finding) => {
    const at = placeOf(finding)
    return `  ${finding.code}${at ? ` at ${at}` : ''}: ${finding.message}${scaleOf(finding)}`
  })
  return [head, ...rows].join('\n')
}

const exitCodes = { refused: 1, usage: 2, fault: 70, interrupted: 130 } as const

/** Shows what was thrown and returns the exit code: 2 for a wrong call, 1 for a refusal, 70 for a fault of ours, 130 for Ctrl-C. */
export function showFailure(error: unknown, json: boolean): number {
  if (error instanceof Problem) {
    process.stderr.write(json ? `${JSON.stringify(toProblemDetails(error), null, 2)}\n` : `${problemText(error)}\n`)
    if (error.code === 'usage') return exitCodes.usage
    return error.code === 'internal' ? exitCodes.fault : exitCodes.refused
  }
  if (error instanceof Error && error.name === 'AbortError') {
    process.stderr.write(`rollcall: ${error.message}\n`)
    return exitCodes.interrupted
  }
  process.stderr.write(
    `rollcall: a fault in Rollcall itself\n${error instanceof Error ? error.stack : String(error)}\n`,
  )
  return exitCodes.fault
}
