// Commands of QA: the roll record, tracing a code, ledgers, checkpoints, verification.
import { createReadStream } from 'node:fs'
import { readFile, writeFile } from 'node:fs/promises'
import { createInterface } from 'node:readline'
import { Readable } from 'node:stream'
import { sha256 } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import {
  type LedgerLine,
  type ReceivedAnswer,
  type VerifyInput,
  type VerifyResult,
  verifyLedger,
  verifySignature,
} from '../ledger/index.ts'
import type { RunReport, Sighting } from '../runs/index.ts'
import type { AddCommand, Context } from './command.ts'
import { table } from './output.ts'
import type { Server } from './server.ts'

const at = (runId: string): string => `/runs/${encodeURIComponent(runId)}`

/** One entry a line; where a stored leaf hash and a space stand before it, both. */
async function* ledgerLines(from: NodeJS.ReadableStream, withLeaf: boolean): AsyncGenerator<LedgerLine> {
  for await (const line of createInterface({ input: from, crlfDelay: Number.POSITIVE_INFINITY })) {
    if (!withLeaf) yield Buffer.from(line)
    else yield { bytes: Buffer.from(line.slice(65)), leaf: Buffer.from(line.slice(0, 64), 'hex') }
  }
}

interface VerifyOptions {
  readonly ledger?: string
  readonly checkpoint?: string
  readonly key?: string
  readonly answers?: string
}

async function fileText(file: string): Promise<string> {
  return readFile(file, 'utf8').catch(() => {
    throw new Problem('not-found', `there is no file ${file}`, { file })
  })
}

// Answers as a controller kept them: one JSON object a line, or one array.
async function keptAnswers(file: string): Promise<ReceivedAnswer[]> {
  const text = await fileText(file)
  try {
    if (text.trimStart().startsWith('[')) return JSON.parse(text) as ReceivedAnswer[]
    return text
      .split('\n')
      .filter(Boolean)
      .map((line) => JSON.parse(line) as ReceivedAnswer)
  } catch (error) {
    throw new Problem('body-not-json', `the answers are not JSON: ${(error as Error).message}`, { file })
  }
}

async function witnessesOf(options: VerifyOptions, serverKey: () => Promise<string>): Promise<Partial<VerifyInput>> {
  if (!options.checkpoint) return {}
  const key = options.key ? await fileText(options.key) : await serverKey()
  return { witnesses: [{ text: await fileText(options.checkpoint), key: key.trim() }], verifySignature }
}

function verdictText(name: string, result: VerifyResult): string {
  if (result.ok) {
    const { compared } = result
    const held = [
      compared.heads > 0 ? `${compared.heads} committed heads` : '',
      compared.witnesses > 0 ? `${compared.witnesses} outside checkpoint` : '',
      compared.answers > 0 ? `${compared.answers} received answers` : '',
    ].filter(Boolean)
    const against = held.length > 0 ? `; agrees with ${held.join(', ')}` : '; held against nothing from outside'
    return `${name} verifies: ${result.entries} entries, ${result.state ?? 'empty'}, root ${result.root}${against}`
  }
  const { index, to, code, why } = result.firstWrong
  const where = to === undefined ? `entry ${index}` : `one of the entries ${index} to ${to - 1}`
  return `${name} does NOT verify: ${where} (${code}): ${why}. Sound up to ${result.agreedTo} entries.`
}

async function verifyRun(context: Context, runId: string | undefined, options: VerifyOptions): Promise<VerifyResult> {
  const answers = options.answers ? { answers: await keptAnswers(options.answers) } : {}
  if (options.ledger) {
    const noKey = async (): Promise<string> => {
      throw new Problem('usage', 'a checkpoint without a server needs --key with the public key file')
    }
    const witness = await witnessesOf(options, noKey)
    const named = runId ? { runId } : {}
    return verifyLedger({
      lines: ledgerLines(createReadStream(options.ledger), false),
      sha256,
      ...named,
      ...witness,
      ...answers,
    })
  }
  if (!runId) throw new Problem('usage', 'name a run, or --ledger with a file')
  return context.withServer(async (server: Server) => {
    const witness = await witnessesOf(options, () => server.text('/key'))
    const { heads } = await server.get<{ heads: { treeSize: number; root: string }[] }>(`${at(runId)}/heads`)
    const lines = ledgerLines(Readable.from(await server.stream(`${at(runId)}/ledger?with=leaf`)), true)
    return verifyLedger({ lines, sha256, runId, heads, ...witness, ...answers })
  })
}

function verifyCommand(add: AddCommand): void {
  add<VerifyOptions>(
    'verify',
    'Recompute a ledger and hold it against its heads, a checkpoint kept elsewhere, answers that were received',
    (command) =>
      command
        .argument('[run]')
        .option('--ledger <file>', 'an exported ledger, instead of the one in the data directory')
        .option('--checkpoint <file>', 'a signed checkpoint that was kept elsewhere')
        .option('--key <file>', "the installation's public key; default: the server's own")
        .option('--answers <file>', 'answers as received, one JSON object a line'),
    async (context, options, [runId]) => {
      const result = await verifyRun(context, runId, options)
      context.output.result(result, verdictText(runId ?? options.ledger ?? 'the ledger', result))
      return result.ok ? 0 : 1
    },
  )
}

function reportCommands(add: AddCommand): void {
  add<{ format: string; out?: string }>(
    'report',
    'The roll record of a run: JSON, CSV (a row a label) or one HTML page',
    (command) =>
      command
        .argument('<run>')
        .option('--format <format>', 'json, csv or html', 'json')
        .option('--out <file>', 'write here'),
    ({ withServer, output }, { format, out }, [runId = '']) =>
      withServer(async (server) => {
        if (!['json', 'csv', 'html'].includes(format)) throw new Problem('usage', '--format takes json, csv or html')
        const target = `${at(runId)}/report?format=${format}`
        if (!out && format === 'json') {
          output.raw(`${JSON.stringify(await server.get<RunReport>(target), null, 2)}\n`)
          return 0
        }
        const body = Readable.from(await server.stream(target))
        if (out) {
          await writeFile(out, body)
          output.result({ file: out }, `roll record of ${runId} written to ${out}`)
        } else for await (const chunk of body) output.raw(chunk as Uint8Array)
        return 0
      }),
  )
  for (const [what, about] of [
    ['ledger', 'The ledger of a run as it was hashed, one entry a line'],
    ['checkpoint', 'A signed checkpoint of a run; keep it elsewhere as a witness'],
  ] as const) {
    add<{ out?: string }>(
      what,
      about,
      (command) => command.argument('<run>').option('--out <file>', 'write here'),
      ({ withServer, output }, { out }, [runId = '']) =>
        withServer(async (server) => {
          const body = Readable.from(await server.stream(`${at(runId)}/${what}`))
          if (out) {
            await writeFile(out, body)
            output.result({ file: out }, `${what} of ${runId} written to ${out}`)
          } else for await (const chunk of body) output.raw(chunk as Uint8Array)
          return 0
        }),
    )
  }
  add(
    'key',
    "The installation's public key, for whoever keeps checkpoints",
    (command) => command,
    ({ withServer, output }) =>
      withServer(async (server) => {
        output.raw(await server.text('/key'))
        return 0
      }),
  )
}

/** Adds the commands of QA. */
export function recordCommands(add: AddCommand): void {
  reportCommands(add)
  verifyCommand(add)
  add(
    'trace',
    'Every label that carried a code, over all runs: what was answered and laid, and where it is proved',
    (command) => command.argument('<code>'),
    ({ withServer, output }, _options, [code = '']) =>
      withServer(async (server) => {
        const { sightings } = await server.get<{ sightings: Sighting[] }>(`/trace?${new URLSearchParams({ code })}`)
        const rows = sightings.map(({ runId, roll, positionMm, laid, answer }) => [
          runId,
          roll,
          answer.frame,
          answer.cell,
          positionMm,
          answer.revokedBy === undefined ? answer.decision : `${answer.decision}, revoked`,
          answer.flags.join(' '),
          answer.identity?.version ?? '',
          laid ?? '',
          answer.ledgerIndex,
        ])
        const headings = [
          'run',
          'roll',
          'frame',
          'cell',
          'position mm',
          'decision',
          'flags',
          'version',
          'laid',
          'entry',
        ]
        output.result(sightings, rows.length > 0 ? table(headings, rows) : 'No run saw this code.')
        return rows.length > 0 ? 0 : 1
      }),
  )
}
