// Commands of named acts on a run, and its answers.
import type { Answer } from '../runs/index.ts'
import { type AddCommand, numberOf, wholeOf } from './command.ts'
import { table } from './output.ts'
import { type RunView, viewText } from './run-text.ts'

interface ActRow {
  readonly name: string
  readonly about: string
  readonly needsWhy?: true
  readonly options?: readonly (readonly [string, string])[]
  readonly body: (options: Record<string, string>) => object
}

const causeOf = (text: string): object => {
  const [flag, job, design, print] = text.split('/')
  return { flag, ...(job ? { job } : {}), ...(design ? { design } : {}), ...(print ? { print } : {}) }
}

const acts: readonly ActRow[] = [
  { name: 'proving', about: 'Start proving, or ask for it again', body: () => ({}) },
  {
    name: 'prove',
    about: 'You compared embellishment with code on these lanes: the run proper begins',
    options: [['--lanes <numbers>', 'such as 1,2,3,4']],
    body: ({ lanes = '' }) => ({ lanes: lanes.split(',').map(Number) }),
  },
  {
    name: 'clear',
    about: 'You looked at a stop: go on, or let the rest of these labels pass without',
    needsWhy: true,
    options: [
      ['--cause <flag/job/design/print>', 'as `rollcall runs RUN` shows it'],
      ['--after <what>', 'resume or skip-rest'],
    ],
    body: ({ cause = '', after }) => ({ cause: causeOf(cause), after }),
  },
  {
    name: 'material',
    about: 'Record an event of the material',
    options: [['--event <event>', 'splice, cut-out, re-thread, pitch-change or foil']],
    body: ({ event, why }) => ({ event, ...(why ? { note: why } : {}) }),
  },
  { name: 'close', about: 'End the taking of frames', body: () => ({}) },
  { name: 'seal', about: 'Seal the closed run under a signed Merkle root', body: () => ({}) },
  { name: 'abort', about: 'Give the run up; its ledger stays', needsWhy: true, body: () => ({}) },
]

function actCommands(add: AddCommand): void {
  for (const act of acts) {
    add<Record<string, string>>(
      act.name,
      act.about,
      (command) => {
        command.argument('<run>').requiredOption('--by <name>', 'who acts')
        for (const [flag, about] of act.options ?? []) command.requiredOption(flag, about)
        return act.needsWhy ? command.requiredOption('--why <reason>') : command.option('--why <reason>')
      },
      ({ withServer, output }, options, [runId = '']) =>
        withServer(async (server) => {
          const { by, why } = options
          const reason = why && act.name !== 'material' ? { why } : {}
          const body = { by, ...reason, ...act.body(options) }
          const view = await server.send<RunView>('POST', `/runs/${encodeURIComponent(runId)}/${act.name}`, body)
          output.result(view, viewText(view))
          return 0
        }),
    )
  }
}

function answersCommand(add: AddCommand): void {
  add<{ after: string; frame?: string; limit: string }>(
    'answers',
    'Answers of a run: all after a cursor, or those of one frame',
    (command) =>
      command
        .argument('<run>')
        .option('--after <cursor>', 'ledger index; −1 for all', '-1')
        .option('--limit <entries>', 'ledger entries looked at', '1000')
        .option('--frame <frame>'),
    ({ withServer, output }, options, [runId = '']) =>
      withServer(async (server) => {
        const query = new URLSearchParams({
          after: options.after,
          limit: options.limit,
          ...(options.frame ? { frame: options.frame } : {}),
        })
        const page = await server.get<{ answers: Answer[]; cursor: number }>(
          `/runs/${encodeURIComponent(runId)}/answers?${query}`,
        )
        const rows = page.answers.map((answer) => [
          answer.frame,
          answer.place,
          answer.cell,
          answer.revokedBy === undefined ? answer.decision : `${answer.decision}, revoked`,
          answer.flags.join(' '),
          answer.identity
            ? `${answer.identity.design}${answer.identity.version ? ` v${answer.identity.version}` : ''}`
            : '',
          answer.identity?.text ?? '',
        ])
        output.result(
          page,
          `${table(['frame', 'place', 'cell', 'decision', 'flags', 'design', 'code'], rows)}\ncursor ${page.cursor}`,
        )
        return 0
      }),
  )
}

/** Adds the acts on a run and `answers`. */
export function actCommands(add: AddCommand): void {
  namedActs(add)
  answersCommand(add)
}
