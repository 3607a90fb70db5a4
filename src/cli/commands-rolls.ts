// Commands of rolls across their passes.
import type { RollAcrossPasses, RollRow, Unreadable } from '../runs/index.ts'
import type { AddCommand } from './command.ts'
import { table } from './output.ts'

interface Told {
  readonly unreadable: readonly Unreadable[]
}

const damaged = ({ unreadable }: Told): string =>
  unreadable.map(({ runId, detail }) => `\nNot looked at: ${runId}: ${detail}`).join('')

const time = (ms: number): string => new Date(ms).toISOString()

function rollsText({ rolls }: { readonly rolls: readonly RollRow[] }): string {
  if (rolls.length === 0) return 'No run passed over a roll yet.'
  const rows = rolls.map(({ roll, passes, runs, lastAtMs }) => [
    roll,
    passes.join(', '),
    runs.join(', '),
    time(lastAtMs),
  ])
  return table(['roll', 'passes', 'runs', 'last opened'], rows)
}

const runHeadings = ['pass', 'run', 'roll', 'ticket', 'state', 'opened', 'labels', 'of this roll', 'without serial']
const labelHeadings = ['labels', 'complete', 'partly', 'to come', 'never', 'set-up', 'cut out', 'unclear']

const exampleNames = {
  partly: 'laid in one pass, skipped in another',
  toCome: 'not seen in every pass',
  never: 'laid in no pass',
  setUp: 'laid as set-up',
  cutOut: 'cut out after laying',
  unclear: 'unclear',
} as const

type Version = RollAcrossPasses['versions'][number]

const countsOf = (of: RollAcrossPasses['total']): number[] => [
  of.labels,
  of.complete,
  of.partly,
  of.toCome,
  of.never,
  of.setUp,
  of.cutOut,
  of.unclear,
]

function versionRow(version: Version, passes: readonly number[]): (string | number)[] {
  const laid = passes.map((pass) => version.byPass.find((row) => row.pass === pass)?.laid ?? 0)
  return [version.job, version.design, version.version ?? '', ...laid, ...countsOf(version)]
}

function examplesText({ job, design, version, examples }: Version): string[] {
  return (Object.keys(exampleNames) as (keyof typeof exampleNames)[]).flatMap((state) => {
    const labels = examples[state]
    if (!labels) return []
    const serials = labels.map(({ serial, cell }) => (cell === undefined ? serial : `${serial} cell ${cell}`))
    return [
      `  ${job} ${design}${version === undefined ? '' : ` ${version}`}, ${exampleNames[state]}: ${serials.join(', ')}`,
    ]
  })
}

function rollText(found: RollAcrossPasses): string {
  const runs = found.runs.map((run) => [
    run.pass,
    run.runId,
    run.rolls.join(', '),
    run.ticket,
    run.state,
    time(run.createdAtMs),
    run.labels,
    run.ofRoll,
    run.untied,
  ])
  const headings = ['job', 'design', 'version', ...found.passes.map((pass) => `laid in ${pass}`), ...labelHeadings]
  const blank = found.passes.map(() => '')
  const versions = [
    ...found.versions.map((version) => versionRow(version, found.passes)),
    ['in all', '', '', ...blank, ...countsOf(found.total)],
  ]
  const examples = found.versions.flatMap(examplesText)
  return [
    `Roll ${found.roll}`,
    '',
    table(runHeadings, runs),
    '',
    table(headings, versions),
    ...(examples.length > 0 ? ['', 'For example, serials:', ...examples] : []),
  ].join('\n')
}

/** Adds `roll`. */
export function rollCommands(add: AddCommand): void {
  add(
    'roll',
    'A roll across its passes: which runs passed over it, which labels got all their layers; without a name, all rolls',
    (command) => command.argument('[roll]'),
    ({ withServer, output }, _options, [roll]) =>
      withServer(async (server) => {
        if (roll === undefined) {
          const all = await server.get<{ rolls: readonly RollRow[] } & Told>('/rolls')
          output.result(all, `${rollsText(all)}${damaged(all)}`)
          return 0
        }
        const found = await server.get<RollAcrossPasses & Told>(`/rolls/${encodeURIComponent(roll)}`)
        output.result(found, `${rollText(found)}${damaged(found)}`)
        return found.unreadable.length > 0 ? 1 : 0
      }),
  )
}
