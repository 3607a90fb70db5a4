// One round of a target: cases made up from a seed, executed in a process of their own, and a failing one shrunk.
import fc from 'fast-check'
import { type Executor, openExecutor } from './executor-process.ts'
import type { Target } from './target.ts'

export interface RoundOptions {
  readonly seed: number
  readonly cases: number
  /** fast-check's path to one case of the seed: only that one is executed. */
  readonly path?: string
}

export interface Failure {
  readonly seed: number
  readonly path: string
  readonly error: string
  /** The shrunk case as text. */
  readonly counterexample: string
  readonly shrinks: number
}

export interface Round {
  readonly target: string
  readonly seed: number
  readonly cases: number
  readonly seconds: number
  /** How often each answer came. */
  readonly answers: Readonly<Record<string, number>>
  readonly slowestCpuMs: number
  readonly growthMiB: number
  readonly failure?: Failure
}

/** After a failure, time for shrinking; what is tried later counts as passed, which ends it. */
const shrinkMsMax = 120_000
const counterexampleMax = 20_000

/** Executes cases in a process that is replaced when it is spent. */
class Bench {
  readonly #target: Target
  #executor: Executor | undefined
  #failedAtMs: number | undefined
  readonly answers = new Map<string, number>()
  cases = 0
  slowestCpuMs = 0
  growthMiB = 0

  constructor(target: Target) {
    this.#target = target
  }

  /** A target that cannot be made ready is no finding about a case. */
  async begin(): Promise<void> {
    this.#executor = await openExecutor(this.#target)
  }

  async try(one: unknown): Promise<void> {
    if (this.#failedAtMs !== undefined && performance.now() - this.#failedAtMs > shrinkMsMax) return
    this.#executor ??= await openExecutor(this.#target)
    this.cases += 1
    try {
      const { answer, cpuMs } = await this.#executor.run(one)
      this.slowestCpuMs = Math.max(this.slowestCpuMs, cpuMs)
      this.answers.set(answer, (this.answers.get(answer) ?? 0) + 1)
    } catch (error) {
      this.#failedAtMs ??= performance.now()
      if (this.#executor?.isSpent) await this.close()
      throw error
    }
  }

  async close(): Promise<void> {
    this.growthMiB = Math.max(this.growthMiB, this.#executor?.growthMiB ?? 0)
    await this.#executor?.close()
    this.#executor = undefined
  }
}

function failureOf(details: fc.RunDetails<[unknown]>): Failure | undefined {
  if (!details.failed) return undefined
  const { seed, counterexamplePath, errorInstance, counterexample, numShrinks } = details
  return {
    seed,
    path: counterexamplePath ?? '',
    error: errorInstance instanceof Error ? errorInstance.message : String(errorInstance),
    counterexample: fc.stringify(counterexample?.[0]).slice(0, counterexampleMax),
    shrinks: numShrinks,
  }
}

/** Runs a round. The same seed makes up the same cases. */
export async function runRound(target: Target, { seed, cases, path }: RoundOptions): Promise<Round> {
  const started = performance.now()
  const bench = new Bench(target)
  try {
    await bench.begin()
    const property = fc.asyncProperty(target.arbitrary, (one) => bench.try(one))
    const replay = path === undefined ? {} : { path, endOnFailure: true }
    const details = await fc.check(property, { seed, numRuns: cases, ...replay })
    await bench.close()
    const failure = failureOf(details)
    return {
      target: target.name,
      seed,
      cases: bench.cases,
      seconds: (performance.now() - started) / 1000,
      answers: Object.fromEntries([...bench.answers].toSorted(([, a], [, b]) => b - a)),
      slowestCpuMs: Math.round(bench.slowestCpuMs),
      growthMiB: Math.round(bench.growthMiB),
      ...(failure ? { failure } : {}),
    }
  } finally {
    await bench.close()
  }
}
