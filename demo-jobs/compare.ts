// Planted against found: every label's answer, every revocation and the spoiled package's findings, held against what the plants ask.
import { table } from '../src/cli/index.ts'
import type { Answer } from '../src/runs/index.ts'
import { expected, revocable } from './expected.ts'
import { plantKinds } from './plants.ts'
import { roll } from './scenario.ts'
import { spoiledFaults } from './spoiled-package.ts'

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

interface Found {
  readonly answers: readonly Answer[]
  readonly revocations: readonly { readonly frame: number; readonly cell: number }[]
  readonly refusal: readonly { readonly code: string; readonly file?: string }[]
}

const answerText = (answer: {
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

const foundText = (answer: Answer): string =>
  answerText({ ...answer, version: answer.decision === 'lay' ? answer.identity?.version : undefined })

interface Tally {
  readonly labels: { readonly frame: number; readonly cell: number }[]
  readonly answers: Set<string>
  found: number
}

/** Compares what the demo was answered with what was planted. */
export function compare({ answers, revocations, refusal }: Found): Comparison {
  const differences: string[] = []
  const byLabel = new Map(answers.map((answer) => [`${answer.frame}/${answer.cell}`, answer]))
  const tallies = new Map<string, Tally>()
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
      if (got === wanted) tally.found++
      else differences.push(`frame ${frame}, cell ${cell} (${kind}): expected ${wanted}, got ${got}`)
    }
  }
  if (answers.length !== roll.length * 4) differences.push(`${answers.length} answers for ${roll.length * 4} labels`)
  const rows = ['nothing', 'set-up', ...plantKinds].flatMap((kind): ComparisonRow[] => {
    const tally = tallies.get(kind)
    const first = tally?.labels[0]
    if (!tally || !first) return []
    const example = `frame ${first.frame}, cell ${first.cell}`
    return [
      {
        planted: kind,
        labels: tally.labels.length,
        found: tally.found,
        example,
        answer: [...tally.answers].join('; '),
      },
    ]
  })
  return { rows: [...rows, revokedRow(revocations, differences), refusedRow(refusal, differences)], differences }
}

function revokedRow(revocations: Found['revocations'], differences: string[]): ComparisonRow {
  const key = (label: { frame: number; cell: number }): string => `${label.frame}/${label.cell}`
  const wanted = new Set(revocable.map(key))
  const found = revocations.filter((row) => wanted.has(key(row)))
  if (found.length !== wanted.size || revocations.length !== wanted.size) {
    differences.push(`${wanted.size} answers to be revoked, ${found.length} of them were, ${revocations.length} in all`)
  }
  const first = revocable[0]
  const example = first ? `frame ${first.frame}, cell ${first.cell}` : ''
  return {
    planted: 'recalled before the head',
    labels: wanted.size,
    found: found.length,
    example,
    answer: 'lay, revoked',
  }
}

function refusedRow(refusal: Found['refusal'], differences: string[]): ComparisonRow {
  const found = spoiledFaults.filter((fault) =>
    refusal.some((row) => row.code === fault.code && row.file === fault.where),
  )
  if (found.length !== spoiledFaults.length || refusal.length !== spoiledFaults.length) {
    const got = refusal.map((row) => `${row.code} ${row.file ?? ''}`).join(', ')
    differences.push(`the spoiled package has ${spoiledFaults.length} faults, found: ${got}`)
  }
  const [first] = spoiledFaults
  return {
    planted: 'faults in a package',
    labels: spoiledFaults.length,
    found: found.length,
    example: first.where,
    answer: 'refused',
  }
}

/** The comparison as a table, then every difference. */
export function comparisonText({ rows, differences }: Comparison): string {
  const cells = rows.map((row) => [row.planted, row.labels, row.found, row.example, row.answer])
  const verdict =
    differences.length === 0
      ? 'Everything that was planted was found, and nothing else.'
      : `${differences.length} differences:\n${differences.map((text) => `  ${text}`).join('\n')}`
  return `${table(['planted', 'labels', 'found', 'first at', 'answered'], cells)}\n\n${verdict}`
}
