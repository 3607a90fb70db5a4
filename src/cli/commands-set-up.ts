// Commands of a run's set-up, and of its next ticket.
import type { SetUpReport } from '../runs/index.ts'
import type { AddCommand } from './command.ts'
import { counted } from './counted.ts'
import { lineOf, orHowToMend } from './not-ready.ts'
import { table } from './output.ts'
import { type RunView, viewText } from './run-text.ts'

type Section = SetUpReport['sections'][number]

const timeOf = (atMs: number): string => new Date(atMs).toISOString().replace('T', ' ').slice(0, 19)
const people = ({ by, second }: { by: string; second?: string }): string => (second ? `${by} and ${second}` : by)

const reasons: Readonly<Record<Section['reason'], string>> = {
  first: 'before the run proper',
  asked: 'asked for again',
  're-thread': 'after a re-threading',
  'pitch-change': 'after a pitch change',
  'slipped-count': 'after a slipped mark count',
}

function endText({ proved, endedBy }: Section): string {
  if (endedBy) return `  not proved: ${endedBy.to} by ${people(endedBy)}, ${timeOf(endedBy.atMs)}`
  if (!proved) return '  not proved yet'
  const labels = proved.compared.map(
    ({ lane, frame, cell, code }) => `lane ${lane}: frame ${frame}, cell ${cell}${code ? ` (${code})` : ''}`,
  )
  const named = labels.length > 0 ? labels.join('; ') : 'no label named'
  return `  proved by ${people(proved)}, ${timeOf(proved.atMs)}, lanes ${proved.lanes.join(', ')}: ${named}`
}

function sectionText(section: Section, number: number): string {
  const { began, reason, frames, firstFrame, lastFrame, labels, webM, lanes, list } = section
  const span = firstFrame === undefined ? '' : ` (${firstFrame} to ${lastFrame})`
  const why = began.why ? `: ${began.why}` : ''
  const rows = lanes.map((row) => [row.lane, row.labels, row.lay, row.skip, row.stop])
  const listRows = (list ?? []).map((row) => [
    row.frame,
    row.cell,
    row.lane,
    row.decision,
    row.laid ?? '',
    row.code ?? '',
  ])
  return [
    `${number}. ${reasons[reason]}, ${timeOf(began.atMs)}, by ${people(began)}${why}`,
    `  ${counted(frames, 'frame')}${span}, ${counted(labels, 'label')}, ${webM.toFixed(2)} m of web`,
    ...(rows.length > 0 ? [indented(table(['lane', 'labels', 'lay', 'skip', 'stop'], rows))] : []),
    endText(section),
    ...(listRows.length > 0 ? [indented(table(['frame', 'cell', 'lane', 'decision', 'laid', 'code'], listRows))] : []),
  ].join('\n')
}

const indented = (text: string): string => text.replaceAll(/^/gm, '  ')

function setUpText({ runId, sections, labels, webM }: SetUpReport): string {
  if (sections.length === 0) return `${runId} has no set-up yet.`
  const head = `set-up of ${runId}: ${counted(labels, 'label')}, ${webM.toFixed(2)} m of web`
  return [head, ...sections.map((section, i) => sectionText(section, i + 1))].join('\n')
}

function setUpCommand(add: AddCommand): void {
  add<{ labels?: boolean }>(
    'set-up',
    'Set-up labels of a run by proving section and lane, and who proved them',
    (command) => command.argument('<run>').option('--labels', 'list each of them, up to 10,000'),
    ({ withServer, output }, { labels }, [runId = '']) =>
      withServer(async (server) => {
        const at = `/runs/${encodeURIComponent(runId)}/set-up${labels ? '?labels=true' : ''}`
        const report = await server.get<SetUpReport>(at)
        output.result(report, setUpText(report))
        return 0
      }),
  )
}

interface ChangeOptions {
  /** Absent with a personal key. */
  readonly by?: string
  readonly why: string
  readonly second?: string
  readonly override?: boolean
}

function changeTicketCommand(add: AddCommand): void {
  add<ChangeOptions>(
    'change-ticket',
    'Go on with the next ticket from the next frame on, in one run',
    (command) =>
      command
        .argument('<run>')
        .argument('<ticket>', 'name of a stored ticket with the same frame and pass')
        .requiredOption('--by <name>', 'who acts')
        .requiredOption('--why <reason>', 'why')
        .option('--second <name>', 'a second person, where policy asks for one')
        .option('--override', 'change in spite of blockers'),
    ({ withServer, output }, { by, why, second, override }, [runId = '', ticket = '']) =>
      withServer(async (server) => {
        const more = { ...(second ? { second } : {}), ...(override ? { override } : {}) }
        const at = `/runs/${encodeURIComponent(runId)}/ticket`
        const view = await orHowToMend(
          () => server.send<RunView>('POST', at, { ticket, by, why, ...more }),
          async () => ({ ticket, line: await lineOf(server, runId) }),
        )
        const changed = `run ${runId} goes on with ticket ${view.ticket} from the next frame, instead of ${view.tickets.at(-2)}`
        output.result(view, `${changed}\n${viewText(view)}`)
        return 0
      }),
  )
}

/** Adds `set-up` and `change-ticket`. */
export function setUpCommands(add: AddCommand): void {
  setUpCommand(add)
  changeTicketCommand(add)
}
