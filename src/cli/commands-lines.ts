// Commands around lines and tickets: checking and storing them, and what is stored.
import { createReadStream } from 'node:fs'
import { open } from 'node:fs/promises'
import path from 'node:path'
import { Readable } from 'node:stream'
import { type Finding, Problem } from '../kernel/problem.ts'
import { checkLine, checkTicket, parseLine, readSequence } from '../lines/index.ts'
import { type AddCommand, type Context, wholeOf } from './command.ts'
import { materialFrom } from './commands-codes.ts'
import { counted } from './counted.ts'
import { about, jsonFile } from './json-file.ts'
import { table } from './output.ts'
import type { Server } from './server.ts'

type What = 'line' | 'ticket'
type Content = Readonly<Record<string, unknown>>

interface Options {
  readonly rollLabel?: string
  readonly sequence?: string
  readonly line?: string
  readonly revision?: string
}

/** What an act works with: the file or name behind it. */
interface Act {
  readonly what: What
  readonly given: string
  readonly options: Options
  readonly context: Context
}

async function checkAct({ what, given, options, context }: Act): Promise<number> {
  const content = await contentOf(given, options)
  const findings = [
    ...(what === 'line' ? checkLine(content).findings : await ticketFindings(content, options.line, context)),
    ...(options.sequence ? await sequenceFindings(options.sequence) : []),
  ]
  const [first] = findings
  const name = typeof content[what] === 'string' ? `${what} ${content[what]}` : `the ${what}`
  if (first)
    throw new Problem(first.code, `${name} has ${counted(findings.length, 'finding')}`, { file: given, findings })
  context.output.result({ findings }, `${name}: no findings`)
  return 0
}

// Against a line in a file nothing needs to be stored anywhere; against a stored line, all that is published counts as well.
async function ticketFindings(content: Content, line: string | undefined, { withServer }: Context) {
  if (line === undefined) return checkTicket(content).findings
  if (isFile(line)) return checkTicket(content, { line: await about(line, jsonFile(line).then(parseLine)) }).findings
  const target = `/tickets/check?${new URLSearchParams({ line })}`
  const reply = await withServer((server) => server.send<{ findings: Finding[] }>('POST', target, content))
  return reply.findings
}

async function sequenceFindings(file: string): Promise<readonly Finding[]> {
  const handle = await open(file, 'r').catch((error) => {
    throw notThere(file, error)
  })
  try {
    return (await readSequence({ handle, file })).findings
  } finally {
    await handle.close()
  }
}

const notThere = (file: string, error: NodeJS.ErrnoException): Problem =>
  new Problem('not-found', `there is no file ${file}, or it cannot be read: ${error.code}`, { file })

const isFile = (given: string): boolean => given.endsWith('.json') || path.basename(given) !== given

async function contentOf(file: string, { rollLabel }: Options): Promise<Content> {
  const read = await jsonFile(file)
  return rollLabel ? { ...read, material: materialFrom(rollLabel) } : read
}

/** Uploads the CSV; its digest goes into the ticket, so that one command stores both. */
async function withSequence(server: Server, file: string, content: Content): Promise<Content> {
  const jobs = Array.isArray(content.jobs) ? content.jobs.map((row) => (row as { job?: unknown } | null)?.job) : []
  const cells = Array.isArray(content.cells) ? content.cells : []
  const query = new URLSearchParams({ jobs: jobs.join(','), cells: cells.join(',') })
  const handle = await open(file, 'r').catch((error) => {
    throw notThere(file, error)
  })
  const bytes = Readable.toWeb(createReadStream('', { fd: handle })) as ReadableStream
  const uploaded = server.upload<{ sha256: string }>(`/sequences?${query}`, { bytes, mediaType: 'text/csv' })
  const { sha256 } = await uploaded.catch((error) => {
    throw error instanceof Problem ? namedAfter(file, error) : error
  })
  return { ...content, sequence: { sha256 } }
}

const namedAfter = (file: string, { code, message, place, findings }: Problem): Problem =>
  new Problem(code, message, { ...place, file, findings: findings.map((finding) => ({ ...finding, file })) })

async function putAct({ what, given, options, context: { withServer, output } }: Act): Promise<number> {
  const read = await contentOf(given, options)
  const name = read[what]
  if (typeof name !== 'string')
    throw new Problem(`${what}-schema`, `the file names no ${what}`, { file: given, pointer: `/${what}` })
  const query = options.line === undefined ? '' : `?${new URLSearchParams({ line: options.line })}`
  return withServer(async (server) => {
    const content = options.sequence ? await withSequence(server, options.sequence, read) : read
    const target = `/${what}s/${encodeURIComponent(name)}`
    const before = what === 'ticket' ? await newestOf(server, target) : undefined
    const stored = await about(given, server.send<Stored>('PUT', `${target}${query}`, content))
    const dropped = before?.content.sequence && !content.sequence ? { sequenceDroppedOf: before.revision } : {}
    const lines = [
      `${what} ${name} stored, revision ${stored.revision}`,
      ...('sequenceDroppedOf' in dropped
        ? [`the sequence of revision ${before?.revision} is not on this one; add --sequence FILE to keep it`]
        : []),
    ]
    output.result({ ...stored, ...dropped }, lines.join('\n'))
    return 0
  })
}

interface Stored {
  readonly revision: number
  readonly content: Content
}

/** What is stored by that name so far. */
async function newestOf(server: Server, target: string): Promise<Stored | undefined> {
  try {
    return await server.get<Stored>(target)
  } catch (error) {
    if (error instanceof Problem && error.code === 'ticket-not-found') return undefined
    throw error
  }
}

async function showAct({ what, given, options, context: { withServer, output } }: Act): Promise<number> {
  const revision = options.revision && wholeOf(options.revision, '--revision', { min: 1 })
  const query = revision ? `?revision=${revision}` : ''
  const target = `/${what}s/${encodeURIComponent(given)}${query}`
  const shown = await withServer((server) => server.get<{ content: unknown }>(target))
  output.result(shown, JSON.stringify(shown.content, null, 2))
  return 0
}

const timeOf = (ms: number): string => new Date(ms).toISOString().slice(0, 19)

async function revisionsAct({ what, given, context: { withServer, output } }: Act): Promise<number> {
  const { revisions } = await withServer((server) =>
    server.get<{ revisions: { revision: number; digest: string; storedAtMs: number }[] }>(
      `/${what}s/${encodeURIComponent(given)}/revisions`,
    ),
  )
  const rows = revisions.map((row) => [row.revision, timeOf(row.storedAtMs), row.digest.slice(0, 12)])
  output.result(revisions, table(['revision', 'stored (UTC)', 'digest'], rows))
  return 0
}

interface Listed {
  readonly revision: number
  readonly storedAtMs: number
  readonly [key: string]: unknown
}

async function listAct({ what, context: { withServer, output } }: Act): Promise<number> {
  const reply = await withServer((server) =>
    server.get<{ lines?: Listed[]; tickets?: Listed[]; onlyLine?: string }>(`/${what}s`),
  )
  const listed = reply[`${what}s`] ?? []
  const about = (row: Listed): string[] =>
    what === 'line' ? [String(row.title)] : [String(row.roll), (row.jobs as string[]).join(', '), String(row.pass)]
  const rows = listed.map((row) => [String(row[what]), row.revision, timeOf(row.storedAtMs), ...about(row)])
  const headings = [what, 'revision', 'stored (UTC)', ...(what === 'line' ? ['title'] : ['roll', 'jobs', 'pass'])]
  const none = reply.onlyLine
    ? `Line ${reply.onlyLine} is not stored yet; this key sees no other.`
    : `No ${what} is stored yet.`
  output.result(listed, rows.length > 0 ? table(headings, rows) : none)
  return 0
}

const acts: Readonly<Record<string, (act: Act) => Promise<number>>> = {
  check: checkAct,
  put: putAct,
  show: showAct,
  revisions: revisionsAct,
  list: listAct,
}

function actOf(given: readonly string[]): { act: (act: Act) => Promise<number>; given: string } {
  const [first = '', second] = given
  const named = Object.hasOwn(acts, first) ? acts[first] : undefined
  if (named === listAct || (named && second !== undefined)) return { act: named, given: second ?? '' }
  if (named) throw new Problem('usage', `${first} wants ${first === 'check' || first === 'put' ? 'a file' : 'a name'}`)
  if (second !== undefined) throw new Problem('usage', `there is ${Object.keys(acts).join(', ')}, not ${first}`)
  return { act: isFile(first) ? putAct : showAct, given: first }
}

/** Adds `line`, `ticket`. */
export function lineCommands(add: AddCommand): void {
  for (const what of ['line', 'ticket'] as const) {
    const noun = what === 'line' ? 'Line profiles' : 'Tickets'
    add<Options>(
      what,
      `${noun}: check FILE, put FILE, show NAME, revisions NAME, list; a bare file is put, a bare name shown`,
      (command) => {
        command
          .argument('<act>', `check, put, show, revisions or list; or ${what}.json to put, or a name to show`)
          .argument('[file-or-name]', `${what}.json, or the name of a stored ${what}`)
          .option('--revision <number>', 'show this revision (default: the newest)')
        if (what === 'line') return command
        return command
          .option(
            '--line <line>',
            'with check and put: hold it against a line as well, a stored one or line.json (check)',
          )
          .option(
            '--sequence <csv>',
            'the sequence from the press: position, cell, code; its digest goes into the ticket',
          )
          .option('--roll-label <text>', 'read the roll from this GS1 text (AI 8001) into `material`')
      },
      (context, options, args) => {
        const { act, given } = actOf(args.filter((arg) => arg !== undefined))
        return act({ what, given, options, context })
      },
    )
  }
}
