// Commands of named acts on a run, and its answers.
import { type Command, Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { flags } from '../kernel/terms.ts'
import type { Answer, Revocation } from '../runs/index.ts'
import { type AddCommand, wholeOf } from './command.ts'
import { lanesIn, materialOf, materialOptions, repeated } from './material-options.ts'
import { table } from './output.ts'
import { type RunView, viewText } from './run-text.ts'
import type { Server } from './server.ts'
import { writeOut } from './write-out.ts'

type Given = Readonly<Record<string, string>>

interface ActRow {
  readonly name: string
  readonly about: string
  readonly needsWhy?: true
  readonly options?: readonly Option[]
  readonly body: (given: Given) => object
}

const needed = (usage: string, about: string, choices?: readonly string[]): Option => {
  const option = new Option(usage, about).makeOptionMandatory()
  return choices ? option.choices(choices) : option
}

/** A cause as `runs` shows it: flag/job/design/print. Only a print version may hold a slash. Problem `usage`. */
function causeOf(text: string): object {
  const [flag = '', job, design, ...print] = text.split('/')
  if (!flags.some((known) => known === flag)) throw new Problem('usage', `--cause begins with a flag, not "${flag}"`)
  return {
    flag,
    ...(job ? { job } : {}),
    ...(design ? { design } : {}),
    ...(print.length > 0 ? { print: print.join('/') } : {}),
  }
}

/** A label that was compared, as `lane=frame/cell`. Problem `usage`. */
function comparedOf(text: string): object {
  const [, lane, frame, cell] = /^(\d+)=(\d+)\/(\d+)$/.exec(text.trim()) ?? []
  if (lane === undefined) throw new Problem('usage', `--compared takes LANE=FRAME/CELL, such as 1=4/2, not "${text}"`)
  return { lane: Number(lane), frame: Number(frame), cell: Number(cell) }
}

function proofOf({ lanes, compared }: Given): object {
  if (lanes === undefined && compared === undefined)
    throw new Problem('usage', 'name the lanes with --lanes, or a label of each with --compared')
  return {
    ...(lanes === undefined ? {} : { lanes: lanesIn(lanes, '--lanes') }),
    ...(compared === undefined ? {} : { compared: compared.split('\n').map(comparedOf) }),
  }
}

const acts: readonly ActRow[] = [
  { name: 'proving', about: 'Start proving, or ask for it again', body: () => ({}) },
  {
    name: 'prove',
    about: 'You compared embellishment with code on these lanes: the run proper begins',
    options: [
      new Option('--lanes <numbers>', 'such as 1,2,3,4'),
      repeated('--compared <lane=frame/cell>', 'the set-up label that you looked at, once for each lane'),
    ],
    body: proofOf,
  },
  {
    name: 'clear',
    about: 'You looked at a stop: go on, or let the rest of these labels pass without',
    needsWhy: true,
    options: [
      needed('--cause <flag/job/design/print>', 'as `rollcall runs RUN` shows it'),
      needed('--after <what>', 'stop again at the next such label, or let the rest skip', ['resume', 'skip-rest']),
    ],
    body: ({ cause = '', after }) => ({ cause: causeOf(cause), after }),
  },
  {
    name: 'material',
    about: 'Record an event of the material, or void one that was recorded wrongly',
    options: materialOptions,
    body: materialOf,
  },
  { name: 'close', about: 'End the taking of frames', body: () => ({}) },
  { name: 'seal', about: 'Seal the closed run under a signed Merkle root', body: () => ({}) },
  { name: 'abort', about: 'Give the run up; its ledger stays', needsWhy: true, body: () => ({}) },
]

function buildAct(command: Command, act: ActRow): Command {
  command.argument('<run>').requiredOption('--by <name>', 'who acts')
  command.option('--second <name>', 'a second person, where policy asks for one')
  for (const option of act.options ?? []) command.addOption(option)
  return act.needsWhy ? command.requiredOption('--why <reason>', 'why') : command.option('--why <reason>', 'why')
}

function namedActs(add: AddCommand): void {
  for (const act of acts) {
    add<Record<string, string>>(
      act.name,
      act.about,
      (command) => buildAct(command, act),
      ({ withServer, output }, given, [runId = '']) => {
        const { by, why, second } = given
        const reason = why && act.name !== 'material' ? { why } : {}
        const body = { by, ...reason, ...(second ? { second } : {}), ...act.body(given) }
        return withServer(async (server) => {
          const view = await server.send<RunView>('POST', `/runs/${encodeURIComponent(runId)}/${act.name}`, body)
          output.result(view, viewText(view))
          return 0
        })
      },
    )
  }
}

interface AnswersPage {
  readonly answers: readonly Answer[]
  readonly revocations: readonly Revocation[]
  readonly cursor: number
}

const decisionText = ({ decision, setup, revokedBy }: Answer): string =>
  [decision, ...(setup ? ['set-up'] : []), ...(revokedBy === undefined ? [] : ['revoked'])].join(', ')

function pageText(page: AnswersPage, runId: string): string {
  const rows = page.answers.map((answer) => [
    answer.frame,
    answer.place,
    answer.cell,
    decisionText(answer),
    answer.flags.join(' '),
    answer.identity ? `${answer.identity.design}${answer.identity.version ? ` v${answer.identity.version}` : ''}` : '',
    answer.identity?.text ?? '',
  ])
  if (rows.length === 0) return 'No answers.'
  const shown = table(['frame', 'place', 'cell', 'decision', 'flags', 'design', 'code'], rows)
  const isUnknown = page.answers.some(({ identity, flags }) => !identity && flags.includes('unknown-code'))
  return isUnknown ? `${shown}\ncodes that no job knows stand in: rollcall report ${runId} --format csv` : shown
}

/** All answers after a cursor, one JSON object a line, page by page. */
async function* answerLines(server: Server, at: string, after: number): AsyncGenerator<string> {
  for (let cursor = after; ; ) {
    const page = await server.get<AnswersPage>(`${at}/answers?after=${cursor}&limit=4096`)
    yield page.answers.map((answer) => `${JSON.stringify(answer)}\n`).join('')
    if (page.cursor === cursor) return
    cursor = page.cursor
  }
}

interface AnswersOptions {
  readonly after: string
  readonly limit: string
  readonly frame?: string
  readonly out?: string
}

function answersCommand(add: AddCommand): void {
  add<AnswersOptions>(
    'answers',
    'Answers of a run: all after a cursor, or those of one frame',
    (command) =>
      command
        .argument('<run>')
        .option('--after <cursor>', 'ledger index; −1 for all', '-1')
        .option('--limit <entries>', 'ledger entries looked at, up to 4096', '1000')
        .option('--frame <frame>', 'those of this frame alone')
        .option(
          '--out <file>',
          'write all after the cursor here, one JSON object a line, as `verify --answers` takes them',
        ),
    ({ withServer, output }, options, [runId = '']) => {
      const at = `/runs/${encodeURIComponent(runId)}`
      const after = wholeOf(options.after.replace('−', '-'), '--after', { min: -1 })
      const limit = wholeOf(options.limit, '--limit', { min: 1, max: 4096 })
      const frame = options.frame === undefined ? undefined : wholeOf(options.frame, '--frame')
      return withServer(async (server) => {
        if (options.out) {
          await writeOut(options.out, answerLines(server, at, after))
          output.result({ file: options.out }, `answers of ${runId} written to ${options.out}`)
          return 0
        }
        const query = frame === undefined ? `after=${after}&limit=${limit}` : `frame=${frame}`
        const page = await server.get<AnswersPage>(`${at}/answers?${query}`)
        const more = frame === undefined && page.cursor > after ? `\ngo on with --after ${page.cursor}` : ''
        output.result(page, `${pageText(page, runId)}${more}`)
        return 0
      })
    },
  )
}

/** Adds the acts on a run and `answers`. */
export function actCommands(add: AddCommand): void {
  namedActs(add)
  answersCommand(add)
}
