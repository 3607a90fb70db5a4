// A short round of every fuzz target; `npm run fuzz` takes them for as long as one likes, with fresh seeds.
import { describe, expect, it, vi } from 'vitest'
import { type Round, runRound } from './round.ts'
import { targets } from './targets.ts'

// Each round has a process of its own.
vi.setConfig({ maxConcurrency: 2 })

const seed = Number(process.env.ROLLCALL_FUZZ_SEED ?? 1)

const told = ({ target, failure }: Round): string | undefined =>
  failure &&
  `${failure.error}\n${failure.counterexample.slice(0, 4_000)}\nnpm run fuzz -- --target ${target} --seed ${failure.seed} --path ${failure.path}`

describe.concurrent('hostile input', () => {
  it.each(targets)('$name: $about', async (target) => {
    const round = await runRound(target, { seed, cases: target.cases.short })
    console.log(
      `${target.name}: seed ${seed}, ${round.cases} cases in ${round.seconds.toFixed(1)} s, slowest ${round.slowestCpuMs} ms, +${round.growthMiB} MiB`,
    )
    expect(told(round)).toBeUndefined()
    expect(Object.keys(round.answers)).toEqual(expect.arrayContaining([...target.meets]))
  })
})
