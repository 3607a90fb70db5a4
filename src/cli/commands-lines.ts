// Commands around lines and tickets: storing them, and whether one fits the other.
import { readFile } from 'node:fs/promises'
import path from 'node:path'
import { Problem } from '../kernel/problem.ts'
import type { AddCommand } from './command.ts'
import { materialFrom } from './commands-codes.ts'
import { table } from './output.ts'

async function jsonFile(file: string): Promise<Readonly<Record<string, unknown>>> {
  const text = await readFile(file, 'utf8').catch((error) => {
    throw new Problem('not-found', `there is no file ${file}, or it cannot be read: ${error.code}`, { file })
  })
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch (error) {
    throw new Problem('body-not-json', `not JSON: ${(error as Error).message}`, { file })
  }
  return typeof value === 'object' && value !== null ? (value as Readonly<Record<string, unknown>>) : {}
}

// A problem with the content of a file says which file.
async function about<T>(file: string, work: Promise<T>): Promise<T> {
  try {
    return await work
  } catch (error) {
    if (!(error instanceof Problem)) throw error
    throw new Problem(error.code, error.message, { file, ...error.place, findings: error.findings })
  }
}

function storeCommands(add: AddCommand): void {
  for (const what of ['line', 'ticket'] as const) {
    add<{ rollLabel?: string }>(
      what,
      `Store a ${what === 'line' ? 'line profile' : 'ticket'} from a JSON file, or show the one of this name`,
      (command) => {
        command.argument('<file-or-name>', `${what}.json, or a name`)
        const label = 'read the roll from this GS1 text (AI 8001) into `material`'
        return what === 'ticket' ? command.option('--roll-label <text>', label) : command
      },
      ({ withServer, output }, { rollLabel }, [given = '']) =>
        withServer(async (server) => {
          if (!given.endsWith('.json') && path.basename(given) === given) {
            const shown = await server.get<{ content: unknown }>(`/${what}s/${encodeURIComponent(given)}`)
            output.result(shown, JSON.stringify(shown.content, null, 2))
            return 0
          }
          const read = await jsonFile(given)
          const content = rollLabel ? { ...read, material: materialFrom(rollLabel) } : read
          const name = content[what]
          if (typeof name !== 'string')
            throw new Problem(`${what}-schema`, `the file names no ${what}`, { file: given, pointer: `/${what}` })
          const target = `/${what}s/${encodeURIComponent(name)}`
          const stored = await about(given, server.send<{ revision: number }>('PUT', target, content))
          output.result(stored, `${what} ${name} stored, revision ${stored.revision}`)
          return 0
        }),
    )
  }
}

interface Readiness {
  readonly ready: boolean
  readonly blockers: readonly ReadinessRow[]
  readonly warnings: readonly ReadinessRow[]
}
interface ReadinessRow {
  readonly code: string
  readonly message: string
  readonly job?: string
  readonly design?: string
  readonly version?: number
  readonly layer?: string
  readonly measured?: string | number
  readonly limit?: string | number
}

const whatOf = (row: ReadinessRow): string =>
  [row.job, row.design, row.version, row.layer].filter((part) => part !== undefined).join('/')

function whyOf({ message, measured, limit }: ReadinessRow): string {
  const scale = [measured === undefined ? '' : `is ${measured}`, limit === undefined ? '' : `limit ${limit}`].filter(
    Boolean,
  )
  return scale.length > 0 ? `${message} (${scale.join(', ')})` : message
}

// One line for rows that differ only in what they are about; --json has them all.
function readinessRows(word: string, rows: readonly ReadinessRow[]): string[][] {
  const kinds = new Map<string, { readonly first: ReadinessRow; count: number }>()
  for (const row of rows) {
    const kind = `${row.code}\n${whyOf(row)}`
    const known = kinds.get(kind)
    if (known) known.count++
    else kinds.set(kind, { first: row, count: 1 })
  }
  return [...kinds.values()].map(({ first, count }) => [
    word,
    first.code,
    count > 1 ? `${whatOf(first)} and ${count - 1} more` : whatOf(first),
    whyOf(first),
  ])
}

function readinessCommand(add: AddCommand): void {
  add<{ ticket: string; line: string }>(
    'readiness',
    'Whether a ticket may run on a line now: blockers and warnings',
    (command) =>
      command
        .requiredOption('--ticket <ticket>', 'name of a stored ticket')
        .requiredOption('--line <line>', 'name of a stored line'),
    ({ withServer, output }, { ticket, line }) =>
      withServer(async (server) => {
        const found = await server.get<Readiness>(`/readiness?${new URLSearchParams({ ticket, line })}`)
        const rows = [...readinessRows('blocker', found.blockers), ...readinessRows('warning', found.warnings)]
        const head = found.ready ? `Ticket ${ticket} is ready on ${line}.` : `Ticket ${ticket} is not ready on ${line}.`
        output.result(found, rows.length > 0 ? `${head}\n${table(['', 'code', 'what', 'why'], rows)}` : head)
        return found.ready ? 0 : 1
      }),
  )
}

/** Adds `line`, `ticket`, `readiness`. */
export function lineCommands(add: AddCommand): void {
  storeCommands(add)
  readinessCommand(add)
}
