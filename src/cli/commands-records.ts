// Commands of QA: the roll record, tracing a code, ledgers, checkpoints, the public key.
import { Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import type { RunReport, Sighting } from '../runs/index.ts'
import type { AddCommand } from './command.ts'
import { type Output, table } from './output.ts'
import { writeOut } from './write-out.ts'

const at = (runId: string): string => `/runs/${encodeURIComponent(runId)}`

interface Given {
  /** Such as `roll record of R.1`. */
  readonly name: string
  readonly body: AsyncIterable<Uint8Array>
  readonly out: string | undefined
}

async function give(output: Output, { name, body, out }: Given): Promise<number> {
  if (out === undefined) for await (const chunk of body) output.raw(chunk)
  else {
    await writeOut(out, body)
    output.result({ file: out }, `${name} written to ${out}`)
  }
  return 0
}

function reportCommand(add: AddCommand): void {
  add<{ format?: string; out?: string; pdf?: string }>(
    'report',
    'The roll record of a run: JSON, CSV (a row a label), one HTML page, or PDF',
    (command) =>
      command
        .argument('<run>', 'id of a run')
        .addOption(
          new Option('--format <format>', 'of the record (default: json)').choices(['json', 'csv', 'html', 'pdf']),
        )
        .option('--out <file>', 'write here')
        .option('--pdf <file>', 'write the record as PDF here'),
    ({ withServer, output }, { pdf, ...given }, [runId = '']) => {
      if (pdf !== undefined && (given.out !== undefined || (given.format ?? 'pdf') !== 'pdf'))
        throw new Problem('usage', '--pdf writes the record as PDF to its file; take --format and --out for others')
      const { format = 'json', out } = pdf === undefined ? given : { format: 'pdf', out: pdf }
      return withServer(async (server) => {
        const target = `${at(runId)}/report?format=${format}`
        if (out === undefined && format === 'json') {
          output.raw(`${JSON.stringify(await server.get<RunReport>(target), null, 2)}\n`)
          return 0
        }
        return give(output, { name: `roll record of ${runId}`, body: await server.stream(target), out })
      })
    },
  )
}

function ledgerCommands(add: AddCommand): void {
  for (const [what, about] of [
    ['ledger', 'The ledger of a run as it was hashed, one entry a line'],
    ['checkpoint', 'A signed checkpoint of a run; keep it elsewhere as a witness'],
  ] as const) {
    add<{ out?: string }>(
      what,
      about,
      (command) => command.argument('<run>', 'id of a run').option('--out <file>', 'write here'),
      ({ withServer, output }, { out }, [runId = '']) =>
        withServer(async (server) =>
          give(output, { name: `${what} of ${runId}`, body: await server.stream(`${at(runId)}/${what}`), out }),
        ),
    )
  }
}

interface Traced {
  readonly sightings: readonly Sighting[]
  readonly unreadable: readonly { readonly runId: string; readonly detail: string }[]
}

const headings = ['run', 'roll', 'frame', 'cell', 'position mm', 'decision', 'flags', 'version', 'laid', 'entry']

const sightingRow = ({ runId, roll, positionMm, laid, answer }: Sighting): (string | number)[] => [
  runId,
  roll,
  answer.frame,
  answer.cell,
  positionMm,
  [answer.decision, ...(answer.setup ? ['set-up'] : []), ...(answer.revokedBy === undefined ? [] : ['revoked'])].join(
    ', ',
  ),
  answer.flags.join(' '),
  answer.identity?.version ?? '',
  laid ?? '',
  answer.ledgerIndex,
]

function traceCommand(add: AddCommand): void {
  add(
    'trace',
    'Every label that carried a code, over all runs: what was answered and laid, and where it is proved',
    (command) => command.argument('<code>', 'the whole text of the code'),
    ({ withServer, output }, _options, [code = '']) =>
      withServer(async (server) => {
        const traced = await server.get<Traced>(`/trace?${new URLSearchParams({ code })}`)
        const rows = traced.sightings.map(sightingRow)
        const damaged = traced.unreadable.map(({ runId, detail }) => `\nNot searched: ${runId}: ${detail}`)
        const found = rows.length > 0 ? table(headings, rows) : 'No run saw this code.'
        output.result(traced, `${found}${damaged.join('')}`)
        return rows.length > 0 && damaged.length === 0 ? 0 : 1
      }),
  )
}

/** Adds `report`, `ledger`, `checkpoint`, `key`, `trace`. */
export function recordCommands(add: AddCommand): void {
  reportCommand(add)
  ledgerCommands(add)
  traceCommand(add)
}
