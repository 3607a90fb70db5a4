// Planted against found: every label's answer, every revocation and a spoiled package's findings, held against what the plants ask.
import { table } from '../src/cli/index.ts'
import type { Answer } from '../src/runs/index.ts'
import type { LabelSpot } from './expected.ts'
import { plantKinds } from './plants.ts'
import type { Scenario, Spoiled } from './scenario.ts'

export interface ComparisonRow {
  readonly planted: string
  readonly labels: number
  found: number
  readonly example: string
  readonly answer: string
}

export interface Comparison {
  readonly rows: readonly ComparisonRow[]
  readonly differences: readonly string[]
}

export interface Found {
  readonly answers: readonly Answer[]
  readonly revocations: readonly LabelSpot[]
  /** Findings on the spoiled package, where the scenario has one. */
  readonly refusal: readonly { readonly code: string; readonly file?: string }[]
}

/** An answer in short: decision, flags, version, set-up. */
export const answerText = (answer: {
  decision: string
  flags: readonly string[]
  version?: number | undefined
  setup?: boolean | undefined
}): string =>
  [
    answer.decision,
    ...answer.flags.toSorted(),
    answer.version === undefined ? '' : `v${answer.version}`,
    answer.setup ? 'set-up' : '',
  ]
    .filter(Boolean)
    .join(' ')

/** What an answer was, in the same words. */
export const foundText = (answer: Answer): string =>
  answerText({ ...answer, version: answer.decision === 'lay' ? answer.identity?.version : undefined })

interface Tally {
  readonly labels: LabelSpot[]
  readonly answers: Set<string>
  found: number
}

const keyOf = ({ frame, cell }: LabelSpot): string => `${frame}/${cell}`

function tallyLabels(
  { roll, expected, job }: Scenario,
  answers: readonly Answer[],
  differences: string[],
): ReadonlyMap<string, Tally> {
  const byLabel = new Map(answers.map((answer) => [keyOf(answer), answer]))
  const tallies = new Map<string, Tally>()
  const turns = new Map(job.frame.cells.map(({ cell, rotateDeg }) => [cell, rotateDeg]))
  for (const { frame, setup, labels } of roll) {
    for (const { cell, plant } of labels) {
      const kind = plant ?? (setup ? 'set-up' : 'nothing')
      const tally: Tally = tallies.get(kind) ?? { labels: [], answers: new Set(), found: 0 }
      tallies.set(kind, tally)
      const wanted = answerText(expected(frame, cell))
      const answer = byLabel.get(`${frame}/${cell}`)
      const got = answer ? foundText(answer) : 'no answer'
      tally.labels.push({ frame, cell })
      tally.answers.add(kind === 'nothing' || kind === 'set-up' ? wanted.replace(/ v\d+/, '') : wanted)
      if (answer && answer.rotateDeg !== turns.get(cell)) {
        differences.push(`frame ${frame}, cell ${cell}: turned by ${answer.rotateDeg}°, not ${turns.get(cell)}°`)
      } else if (got === wanted) tally.found++
      else differences.push(`frame ${frame}, cell ${cell} (${kind}): expected ${wanted}, got ${got}`)
    }
  }
  return tallies
}

/** Compares what a scenario's run was answered with what was planted. */
export function compare(scenario: Scenario, { answers, revocations, refusal }: Found): Comparison {
  const differences: string[] = []
  const tallies = tallyLabels(scenario, answers, differences)
  const labelCount = scenario.roll.reduce((sum, { labels }) => sum + labels.length, 0)
  if (answers.length !== labelCount) differences.push(`${answers.length} answers for ${labelCount} labels`)
  const rows = ['nothing', 'set-up', ...plantKinds].flatMap((kind): ComparisonRow[] => {
    const tally = tallies.get(kind)
    const first = tally?.labels[0]
    if (!tally || !first) return []
    const example = `frame ${first.frame}, cell ${first.cell}`
    const answer = [...tally.answers].join('; ')
    return [{ planted: kind, labels: tally.labels.length, found: tally.found, example, answer }]
  })
  const rest = [
    ...revokedRow(scenario.revocable, revocations, differences),
    ...refusedRow(scenario.spoiled, refusal, differences),
  ]
  return { rows: [...rows, ...rest], differences }
}

function revokedRow(
  revocable: readonly LabelSpot[],
  revocations: readonly LabelSpot[],
  differences: string[],
): ComparisonRow[] {
  const wanted = new Set(revocable.map(keyOf))
  const found = revocations.filter((row) => wanted.has(keyOf(row)))
  if (found.length !== wanted.size || revocations.length !== wanted.size) {
    differences.push(`${wanted.size} answers to be revoked, ${found.length} of them were, ${revocations.length} in all`)
  }
  const [first] = revocable
  if (!first) return []
  const example = `frame ${first.frame}, cell ${first.cell}`
  const row = { planted: 'recalled before the head', labels: wanted.size, found: found.length, example }
  return [{ ...row, answer: 'lay, revoked' }]
}

function refusedRow(spoiled: Spoiled | undefined, refusal: Found['refusal'], differences: string[]): ComparisonRow[] {
  const faults = spoiled?.faults ?? []
  const found = faults.filter((fault) => refusal.some((row) => row.code === fault.code && row.file === fault.where))
  if (found.length !== faults.length || refusal.length !== faults.length) {
    const got = refusal.map((row) => `${row.code} ${row.file ?? ''}`).join(', ')
    differences.push(`the spoiled package has ${faults.length} faults, found: ${got}`)
  }
  const [first] = faults
  if (!first) return []
  const row = { planted: 'faults in a package', labels: faults.length, found: found.length }
  return [{ ...row, example: first.where, answer: 'refused' }]
}

/** The comparisons of all jobs as one table, then every difference. */
export function comparisonText(compared: readonly { readonly job: string; readonly comparison: Comparison }[]): string {
  const cells = compared.flatMap(({ job, comparison }) =>
    comparison.rows.map((row) => [job, row.planted, row.labels, row.found, row.example, row.answer]),
  )
  const differences = compared.flatMap(({ job, comparison }) => comparison.differences.map((text) => `${job}: ${text}`))
  const verdict =
    differences.length === 0
      ? 'Everything that was planted was found, and nothing else.'
      : `${differences.length} differences:\n${differences.map((text) => `  ${text}`).join('\n')}`
  return `${table(['job', 'planted', 'labels', 'found', 'first at', 'answered'], cells)}\n\n${verdict}`
}
