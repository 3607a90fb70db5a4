// The command that recomputes a ledger and holds it against whatever is known of it from elsewhere.
import { createReadStream } from 'node:fs'
import { readFile, stat } from 'node:fs/promises'
import * as z from 'zod'
import { digestPattern, sha256 } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import { firstOf, schemaFindings } from '../kernel/schema-findings.ts'
import {
  type LedgerLine,
  type ReceivedAnswer,
  splitLines,
  type VerifyInput,
  type VerifyResult,
  verifyLedger,
  verifySignature,
} from '../ledger/index.ts'
import { answerSchema } from '../runs/index.ts'
import type { AddCommand, Context } from './command.ts'
import type { Progress } from './output.ts'
import type { Server } from './server.ts'

const leafHexLength = 64

/** Entries as a server gives them, each behind its stored leaf hash and a space; those beyond `most` are only counted. */
async function* servedLines(
  chunks: AsyncIterable<Uint8Array>,
  tally: { readonly most: number; seen: number },
  progress: Progress,
): AsyncGenerator<LedgerLine> {
  for await (const line of splitLines(chunks)) {
    tally.seen += 1
    if (tally.seen > tally.most) continue
    progress.show(tally.seen / tally.most, `entry ${tally.seen} of ${tally.most}`)
    const leaf = Buffer.from(Buffer.from(line.subarray(0, leafHexLength)).toString('latin1'), 'hex')
    yield { bytes: line.subarray(leafHexLength + 1), leaf }
  }
}

// The server is what is being verified: its word is held to a form before it is held against anything.
const headsSchema = z.object({
  heads: z.array(z.object({ treeSize: z.int().min(0), root: z.string().regex(digestPattern) })),
})

async function servedHeads(server: Server, at: string): Promise<z.output<typeof headsSchema>['heads']> {
  const parsed = headsSchema.safeParse(await server.get<unknown>(`${at}/heads`))
  if (!parsed.success) throw new Problem('ledger-bad', 'the server does not give a list of committed heads')
  return parsed.data.heads
}

interface Inquiry {
  readonly runId: string
  readonly known: Partial<VerifyInput>
  readonly progress: Progress
}

// A run may still be written: what came after the heads that were fetched first is not verified, but it must have heads by now.
async function verifyServed(server: Server, { runId, known, progress }: Inquiry): Promise<VerifyResult> {
  const at = `/runs/${encodeURIComponent(runId)}`
  const heads = await servedHeads(server, at)
  const tally = { most: heads.at(-1)?.treeSize ?? 0, seen: 0 }
  const lines = servedLines(await server.stream(`${at}/ledger?with=leaf`), tally, progress)
  const result = await verifyLedger({ lines, sha256, runId, heads, ...known })
  if (!result.ok || tally.seen <= tally.most) return result
  const covered = (await servedHeads(server, at)).at(-1)?.treeSize ?? 0
  if (tally.seen <= covered) return result
  const why = 'entries stand behind the last committed head'
  return {
    ok: false,
    firstWrong: { index: covered, to: tally.seen, code: 'uncovered', why },
    entries: covered,
    agreedTo: covered,
  }
}

interface VerifyOptions {
  readonly ledger?: string
  readonly checkpoint?: string
  readonly publicKey?: string
  readonly answers?: string
}

const unreadable = (file: string, error: unknown): Problem =>
  (error as NodeJS.ErrnoException).code === 'ENOENT'
    ? new Problem('not-found', `there is no file ${file}`, { file })
    : new Problem('not-found', `cannot be read: ${(error as Error).message}`, { file })

const fileText = (file: string): Promise<string> =>
  readFile(file, 'utf8').catch((error) => {
    throw unreadable(file, error)
  })

async function* fileLines(file: string, progress: Progress): AsyncGenerator<LedgerLine> {
  const { size } = await stat(file).catch((error) => {
    throw unreadable(file, error)
  })
  let read = 0
  try {
    for await (const line of splitLines(createReadStream(file))) {
      read += line.length + 1
      progress.show(read / size, `${(read / 1e6).toFixed(1)} of ${(size / 1e6).toFixed(1)} MB`)
      yield line
    }
  } catch (error) {
    throw error instanceof Problem ? error : unreadable(file, error)
  }
}

// What an answer must have kept to be held against its entry; whatever else was kept is compared too.
const keptSchema = answerSchema
  .partial()
  .required({ frame: true, cell: true, ledgerIndex: true, treeSize: true, root: true, decision: true })
  .loose()

/** Values with the line of the file that each begins on: one JSON object a line, one list, or a page as `answers --json` gives it. */
function keptValues(text: string, file: string): readonly { readonly value: unknown; readonly row: number }[] {
  const parse = (part: string, row: number): unknown => {
    try {
      return JSON.parse(part)
    } catch (error) {
      throw new Problem('body-not-json', `the answers are not JSON: ${(error as Error).message}`, { file, row })
    }
  }
  const lines = text.split('\n').flatMap((line, i) => (line.trim() === '' ? [] : [{ line, row: i + 1 }]))
  const isLines = lines.length > 0 && lines.every(({ line }) => /^\s*\{.*\}\s*$/.test(line))
  if (isLines && !/^\s*\{\s*"answers"\s*:/.test(text))
    return lines.map(({ line, row }) => ({ value: parse(line, row), row }))
  const whole = text.trim() === '' ? [] : parse(text, 1)
  const list = Array.isArray(whole) ? whole : (whole as { answers?: unknown } | null)?.answers
  if (!Array.isArray(list)) throw new Problem('bad-request', 'the file holds no list of answers', { file })
  return list.map((value) => ({ value, row: 1 }))
}

/** Answers as a controller kept them. Problems: `not-found`, `body-not-json`, `bad-request` with file and row. */
async function keptAnswers(file: string, runId: string | undefined): Promise<ReceivedAnswer[]> {
  return keptValues(await fileText(file), file).map(({ value, row }, i) => {
    const parsed = keptSchema.safeParse(value)
    if (!parsed.success) {
      const what = firstOf(schemaFindings(parsed.error, value, 'bad-request'))
      throw new Problem('bad-request', `answer ${i + 1} is none: ${what}`, { file, row })
    }
    const of = parsed.data.runId
    if (of !== undefined && runId !== undefined && of !== runId) {
      const place = { file, row, measured: of, limit: runId }
      throw new Problem('bad-request', `answer ${i + 1} belongs to another run`, place)
    }
    return parsed.data as unknown as ReceivedAnswer
  })
}

async function witnessesOf(options: VerifyOptions, serverKey: () => Promise<string>): Promise<Partial<VerifyInput>> {
  if (!options.checkpoint) return {}
  const key = options.publicKey ? await fileText(options.publicKey) : await serverKey()
  return { witnesses: [{ text: await fileText(options.checkpoint), key: key.trim() }], verifySignature }
}

function verdictText(name: string, result: VerifyResult): string {
  if (!result.ok) {
    const { index, to, code, why } = result.firstWrong
    const where = to === undefined || to === index + 1 ? `entry ${index}` : `one of the entries ${index} to ${to - 1}`
    const agreed = `${result.agreedTo} entries agree with a root that was kept`
    return `${name} does NOT verify: ${where} (${code}): ${why}. Up to there ${agreed}.`
  }
  const { heads, witnesses, answers } = result.compared
  const held = [
    ...(heads > 0 ? [`${heads} committed heads`] : []),
    ...(witnesses > 0 ? [`${witnesses} outside checkpoint`] : []),
    ...(answers > 0 ? [`${answers} received answers`] : []),
  ]
  const facts = `${result.entries} entries, ${result.state ?? 'empty'}, root ${result.root}`
  return held.length > 0
    ? `${name} verifies: ${facts}; agrees with ${held.join(', ')}`
    : `${name} is sound in itself: ${facts}; held against nothing from elsewhere, so a rewritten one would be too (--checkpoint, --answers)`
}

async function verifyFile(file: string, { runId, known, progress }: Partial<Inquiry> & Omit<Inquiry, 'runId'>) {
  const of = runId === undefined ? {} : { runId }
  const result = await verifyLedger({ lines: fileLines(file, progress), sha256, ...of, ...known })
  if (result.ok && result.entries === 0) throw new Problem('ledger-bad', 'the file holds no entry', { file })
  return result
}

async function verifyRun(context: Context, runId: string | undefined, options: VerifyOptions): Promise<VerifyResult> {
  const { ledger, checkpoint, publicKey } = options
  if (!runId && !ledger) throw new Problem('usage', 'name a run, or --ledger with a file')
  if (publicKey && !checkpoint) throw new Problem('usage', '--public-key is for a --checkpoint')
  if (ledger && checkpoint && !publicKey)
    throw new Problem('usage', 'a checkpoint without a server needs --public-key with the public key file')
  const { progress } = context.output
  const answers = options.answers ? { answers: await keptAnswers(options.answers, runId) } : {}
  if (ledger || !runId) {
    const known = { ...(await witnessesOf(options, async () => '')), ...answers }
    return verifyFile(ledger ?? '', { ...(runId ? { runId } : {}), known, progress })
  }
  return context.withServer(async (server: Server) => {
    const known = { ...(await witnessesOf(options, () => server.text('/key'))), ...answers }
    return verifyServed(server, { runId, known, progress })
  })
}

/** Adds `verify`. */
export function verifyCommand(add: AddCommand): void {
  add<VerifyOptions>(
    'verify',
    'Recompute a ledger and hold it against its heads, a checkpoint kept elsewhere, answers that were received',
    (command) =>
      command
        .argument('[run]', 'id of a run in the data directory')
        .option('--ledger <file>', 'an exported ledger, instead of the one in the data directory')
        .option('--checkpoint <file>', 'a signed checkpoint that was kept elsewhere')
        .option('--public-key <file>', "the installation's public key, with --checkpoint; default: the server's own")
        .option('--answers <file>', 'answers as received: one JSON object a line, or one list'),
    async (context, options, [runId]) => {
      const result = await verifyRun(context, runId, options)
      context.output.result(result, verdictText(options.ledger ?? runId ?? '', result))
      return result.ok ? 0 : 1
    },
  )
}
