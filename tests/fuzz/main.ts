// `npm run fuzz -- [--minutes 60] [--target name] [--seed N] [--rounds N] [--cases N] [--path P] [--out FILE]`: takes the targets in
// turn, each round with a seed of its own, prints a line a round and leaves a summary. A failing round prints how to repeat it; exit 1.
import { randomInt } from 'node:crypto'
import { writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import { type Round, runRound } from './round.ts'
import type { Target } from './target.ts'
import { findTarget, targets } from './targets.ts'

const { values } = parseArgs({
  options: {
    minutes: { type: 'string', default: '60' },
    target: { type: 'string', multiple: true, default: [] },
    seed: { type: 'string' },
    rounds: { type: 'string' },
    cases: { type: 'string' },
    path: { type: 'string' },
    out: { type: 'string', default: join(tmpdir(), 'rollcall-fuzz.json') },
  },
})

const chosen = values.target.length > 0 ? values.target.map(findTarget) : targets
const base = values.seed === undefined ? randomInt(2 ** 31) : Number(values.seed)
const replays = values.path !== undefined
const roundsMax = replays ? 1 : Number(values.rounds ?? Number.POSITIVE_INFINITY)
const deadlineMs = performance.now() + Number(values.minutes) * 60_000
// Rounds of one target take neighbouring seeds, so that a round can be repeated by its own seed alone.
const seedOf = (round: number): number => (base + round) % 2 ** 31

interface Tally {
  rounds: number
  cases: number
  seconds: number
  slowestCpuMs: number
  growthMiB: number
  readonly seeds: number[]
  readonly answers: Record<string, number>
  readonly failures: NonNullable<Round['failure']>[]
}
const tallies = new Map<string, Tally>()

function count(round: Round): void {
  const tally: Tally = tallies.get(round.target) ?? {
    rounds: 0,
    cases: 0,
    seconds: 0,
    slowestCpuMs: 0,
    growthMiB: 0,
    seeds: [],
    answers: {},
    failures: [],
  }
  tallies.set(round.target, tally)
  tally.rounds += 1
  tally.cases += round.cases
  tally.seconds += round.seconds
  tally.slowestCpuMs = Math.max(tally.slowestCpuMs, round.slowestCpuMs)
  tally.growthMiB = Math.max(tally.growthMiB, round.growthMiB)
  tally.seeds.push(round.seed)
  for (const [answer, times] of Object.entries(round.answers))
    tally.answers[answer] = (tally.answers[answer] ?? 0) + times
  if (round.failure) tally.failures.push(round.failure)
}

function tell({ target, seed, cases, seconds, slowestCpuMs, growthMiB, answers, failure }: Round): void {
  const most = Object.entries(answers).slice(0, 6)
  const answered = most.map(([answer, times]) => `${times} ${answer}`).join(', ')
  process.stdout.write(
    `${failure ? 'FAIL' : 'ok  '} ${target} seed ${seed}: ${cases} cases in ${seconds.toFixed(1)} s, slowest ${slowestCpuMs} ms, +${growthMiB} MiB; ${answered}\n`,
  )
  if (!failure) return
  process.stdout.write(`     ${failure.error.split('\n').slice(0, 6).join('\n     ')}\n`)
  process.stdout.write(`     case: ${failure.counterexample.slice(0, 800)}\n`)
  process.stdout.write(`     again: npm run fuzz -- --target ${target} --seed ${failure.seed} --path ${failure.path}\n`)
}

function writeSummary(): void {
  const failures = [...tallies.values()].reduce((sum, tally) => sum + tally.failures.length, 0)
  const summary = { seed: base, minutes: Number(values.minutes), failures, targets: Object.fromEntries(tallies) }
  writeFileSync(values.out, `${JSON.stringify(summary, null, 2)}\n`)
}

async function fuzz(target: Target, round: number): Promise<void> {
  const cases = Number(values.cases ?? target.cases.long)
  const result = await runRound(target, { seed: seedOf(round), cases, ...(replays ? { path: values.path } : {}) })
  count(result)
  tell(result)
  writeSummary()
  if (result.failure) process.exitCode = 1
}

process.stdout.write(`seed ${base}; ${chosen.map(({ name }) => name).join(', ')}\n`)
for (let round = 0; round < roundsMax && performance.now() < deadlineMs; round += 1) {
  for (const target of chosen) {
    if (round === 0 || performance.now() < deadlineMs) await fuzz(target, round)
  }
}
for (const [name, { rounds, cases, failures }] of tallies) {
  process.stdout.write(`${name}: ${rounds} rounds, ${cases} cases, ${failures.length} failures\n`)
}
process.stdout.write(`summary in ${values.out}\n`)
