// Commands on what a run left: finished rolls, reconciliation, pull list, make-good list.
import {
  type FinishedView,
  type MakeGoodSummary,
  type PullRow,
  type Reconciliation,
  statedTexts,
} from '../runs/index.ts'
import type { AddCommand } from './command.ts'
import { table } from './output.ts'
import { writeOut } from './write-out.ts'

const at = (runId: string): string => `/runs/${encodeURIComponent(runId)}`

const lanesText = (lanes: readonly number[] | undefined): string => lanes?.join(' ') ?? 'all'

function finishedText(rolls: readonly FinishedView[]): string {
  if (rolls.length === 0) return 'No roll was wound up.'
  const rows = rolls.map((row) => [
    row.roll,
    lanesText(row.lanes),
    row.lengthM.toFixed(2),
    row.labels,
    row.outerFrame ?? '?',
    row.innerFrame ?? '?',
    row.rewound ? 'rewound' : '',
    row.origins
      .map(({ roll, firstFrame, lastFrame }) => `${roll} frames ${firstFrame ?? '?'}-${lastFrame ?? '?'}`)
      .join(', '),
  ])
  return table(['roll', 'lanes', 'length m', 'labels', 'outermost', 'innermost', 'wound', 'from'], rows)
}

function finishedCommand(add: AddCommand): void {
  add(
    'finished',
    'The finished rolls of a run as they are wound now, back to what was unwound',
    (command) => command.argument('<run>', 'id of a run'),
    ({ withServer, output }, _options, [runId = '']) =>
      withServer(async (server) => {
        const finished = await server.get<{ rolls: FinishedView[]; rethreadings: number }>(`${at(runId)}/finished`)
        const again =
          finished.rethreadings > 0
            ? `\nThreaded again ${finished.rethreadings} times: metres across it are too short.`
            : ''
        output.result(finished, `${finishedText(finished.rolls)}${again}`)
        return 0
      }),
  )
}

const tallyHeadings = ['in', 'laid', 'skipped', 'set-up', 'spoiled', 'unaccounted', 'difference']

type Tally = Reconciliation['cutOut']

const tallyRow = (name: string, row: Tally): (string | number)[] => [
  name,
  ...[row.in, row.laid, row.skipped, row.setUp, row.spoiled, row.unaccounted, row.difference],
]

function reconciliationText({ run, rolls, cutOut, rests, designs }: Reconciliation): string {
  const where = [
    tallyRow('the run', run),
    ...rolls.map((row) => tallyRow(`roll ${row.roll}${row.lanes ? ` lanes ${lanesText(row.lanes)}` : ''}`, row)),
    ...(cutOut.in > 0 ? [tallyRow('cut out', cutOut)] : []),
    ...rests.map((row) => tallyRow(`left on ${row.roll}`, row)),
  ]
  const byDesign = designs.map((row) => tallyRow([row.job, row.design].filter(Boolean).join(' ') || 'not known', row))
  const { expected } = run
  const { text, mend } = expected ? statedTexts(expected, { seen: run.in }) : {}
  const stated = [text, mend].filter((line) => line !== undefined)
  return [table(['where', ...tallyHeadings], where), ...stated, '', table(['design', ...tallyHeadings], byDesign)].join(
    '\n',
  )
}

function reconcileCommand(add: AddCommand): void {
  add(
    'reconcile',
    'Labels in = laid + skipped + set-up + spoiled + unaccounted; exit code 1 where the tickets stated another number',
    (command) => command.argument('<run>', 'id of a run'),
    ({ withServer, output }, _options, [runId = '']) =>
      withServer(async (server) => {
        const found = await server.get<Reconciliation>(`${at(runId)}/reconciliation`)
        output.result(found, reconciliationText(found))
        return found.run.difference === 0 && (found.run.expected?.difference ?? 0) === 0 ? 0 : 1
      }),
  )
}

const pullHeadings = ['roll', 'from m', 'to m', '± m', 'cells', 'labels', 'what', 'code before', 'code after']

const pullCells = (row: PullRow): (string | number)[] => [
  row.roll,
  row.fromM.toFixed(2),
  row.toM.toFixed(2),
  row.toleranceM.toFixed(2),
  row.cells.join(' '),
  row.labels,
  row.class === 'skipped' ? row.what : `${row.class}: ${row.what}`,
  row.codeBefore ?? '',
  row.codeAfter ?? '',
]

function pullListCommand(add: AddCommand): void {
  add<{ roll?: string; rewound?: boolean; csv?: string }>(
    'pull-list',
    'Where to stop a finished roll when it is unwound from the outside, with the codes beside and a tolerance',
    (command) =>
      command
        .argument('<run>', 'id of a run')
        .option('--roll <roll>', 'a finished roll; without it all of the run')
        .option('--rewound', 'as the roll would be after one more rewinding')
        .option('--csv <file>', 'write as CSV here'),
    ({ withServer, output }, { roll, rewound, csv }, [runId = '']) =>
      withServer(async (server) => {
        const query = new URLSearchParams({ ...(roll ? { roll } : {}), ...(rewound ? { rewound: 'true' } : {}) })
        if (csv !== undefined) {
          query.set('format', 'csv')
          await writeOut(csv, await server.stream(`${at(runId)}/pull-list?${query}`))
          output.result({ file: csv }, `pull list of ${runId} written to ${csv}`)
          return 0
        }
        const list = await server.get<{ sections: PullRow[] }>(`${at(runId)}/pull-list?${query}`)
        const rows = list.sections.map(pullCells)
        output.result(list, rows.length > 0 ? table(pullHeadings, rows) : 'Nothing is to be pulled.')
        return 0
      }),
  )
}

function makeGoodText(made: MakeGoodSummary): string {
  const sections = made.sections.map(({ firstFrame, lastFrame, positionMm, cells, labels }) => [
    firstFrame === undefined
      ? '?'
      : firstFrame === lastFrame
        ? String(firstFrame)
        : `${firstFrame}-${lastFrame ?? '?'}`,
    (positionMm / 1000).toFixed(2),
    cells.join(' '),
    labels,
  ])
  return [
    `${made.labels} labels to make again: ${made.withCode} by their code, ${made.withoutCode} of which no code is known`,
    ...(made.fromSequence > 0 ? [`  ${made.fromSequence} codes by the ticket's sequence alone`] : []),
    ...(made.misprinted > 0 ? [`  ${made.misprinted} more carry a print version that no released version fits`] : []),
    ...(made.laidOnce > 0
      ? [`  ${made.laidOnce} were answered lay once: they need new serials, or are skipped as duplicates`]
      : []),
    ...(made.laidElsewhere > 0 ? [`  ${made.laidElsewhere} more were laid elsewhere on this run`] : []),
    ...(made.duplicates > 0 ? [`  ${made.duplicates} more are duplicates`] : []),
    ...(made.ofOtherJobs > 0 ? [`  ${made.ofOtherJobs} more are of jobs that are not on the ticket`] : []),
    ...(sections.length > 0 ? [table(['frames', 'encoder m', 'cells', 'labels without a code'], sections)] : []),
  ].join('\n')
}

function makeGoodCommand(add: AddCommand): void {
  add<{ csv?: string }>(
    'make-good',
    'Labels to make again; --csv writes those of known code as a sequence that a ticket can take',
    (command) => command.argument('<run>', 'id of a run').option('--csv <file>', 'write position, cell, code here'),
    ({ withServer, output }, { csv }, [runId = '']) =>
      withServer(async (server) => {
        const made = await server.get<MakeGoodSummary>(`${at(runId)}/make-good`)
        if (csv !== undefined) await writeOut(csv, await server.stream(`${at(runId)}/make-good?format=csv`))
        const written = csv === undefined ? '' : `\nsequence of ${made.withCode} labels written to ${csv}`
        output.result({ ...made, ...(csv === undefined ? {} : { file: csv }) }, `${makeGoodText(made)}${written}`)
        return 0
      }),
  )
}

/** Adds `finished`, `reconcile`, `pull-list`, `make-good`. */
export function finishedCommands(add: AddCommand): void {
  finishedCommand(add)
  reconcileCommand(add)
  pullListCommand(add)
  makeGoodCommand(add)
}
