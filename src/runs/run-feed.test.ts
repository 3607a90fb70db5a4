// Following a run: from any cursor, at any pace, whenever commits fall, fail or the run is opened again.
import fc from 'fast-check'
import { describe, expect, it, onTestFinished } from 'vitest'
import { until } from '../../tests/contract/fixtures/until.ts'
import { type Bench, code, event, openBench } from '../../tests/fixtures/runs.ts'
import { Problem } from '../kernel/problem.ts'
import type { Run } from './run.ts'
import { type FeedPage, followRun } from './run-feed.ts'

interface Follower {
  readonly pages: FeedPage[]
  readonly problems: Problem[]
  readonly cursor: number
  /** Lets one page more be read. */
  give(): void
  /** Lets all be read from now on. */
  open(): void
  stop(): void
}

function follow(run: Run, after: number): Follower {
  const pages: FeedPage[] = []
  const problems: Problem[] = []
  let isOpen = false
  let waiting: (() => void)[] = []
  const give = (): void => {
    const now = waiting
    waiting = []
    for (const resolve of now) resolve()
  }
  const feed = followRun(run, {
    after,
    take: (page) => pages.push(page),
    room: () => (isOpen ? Promise.resolve() : new Promise((resolve) => waiting.push(resolve))),
    ended: (problem) => problems.push(problem),
  })
  return {
    pages,
    problems,
    get cursor() {
      return feed.cursor
    },
    give,
    open() {
      isOpen = true
      give()
    },
    stop: feed.stop,
  }
}

// Whether an answer was revoked later depends on when it is told; the revocation itself comes in either case.
const told = (pages: readonly Omit<FeedPage, 'cursor'>[]) =>
  pages.flatMap(({ answers, revocations }) =>
    [...answers.map(({ revokedBy: _, ...answer }) => answer), ...revocations].sort(
      (a, b) => a.ledgerIndex - b.ledgerIndex,
    ),
  )

async function all(run: Run, after: number) {
  const pages: FeedPage[] = []
  for (let cursor = after; cursor + 1 < run.durableSize; cursor = pages.at(-1)!.cursor)
    pages.push(await run.answersAfter(cursor, 1_000))
  return told(pages)
}

type Step =
  | { readonly kind: 'frames'; readonly count: number; readonly awaited: boolean }
  | { readonly kind: 'withdraw'; readonly design: string }
  | { readonly kind: 'follow'; readonly back: number }
  | { readonly kind: 'give' | 'turn' | 'fail' }

const steps: fc.Arbitrary<Step> = fc.oneof(
  {
    weight: 5,
    arbitrary: fc.record({
      kind: fc.constant('frames' as const),
      count: fc.integer({ min: 1, max: 90 }),
      awaited: fc.boolean(),
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({ kind: fc.constant('withdraw' as const), design: fc.constantFrom('A', 'B', 'F') }),
  },
  { weight: 3, arbitrary: fc.record({ kind: fc.constant('follow' as const), back: fc.nat({ max: 1_000 }) }) },
  { weight: 3, arbitrary: fc.record({ kind: fc.constantFrom('give' as const, 'turn' as const) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('fail' as const) }) },
)

interface Following {
  readonly after: number
  readonly follower: Follower
  readonly run: Run
}

/** One run with its followers, step by step. */
class Play {
  readonly bench: Bench
  readonly followings: Following[] = []
  run: Run
  #frame = 1
  #broken = false

  constructor(bench: Bench, run: Run) {
    this.bench = bench
    this.run = run
  }

  follow(after: number): void {
    this.followings.push({ after, follower: follow(this.run, after), run: this.run })
  }

  async take(step: Step): Promise<void> {
    if (step.kind === 'frames') await this.frames(step)
    else if (step.kind === 'withdraw')
      await this.run
        .withdraw({ by: 'qa', why: 'test', job: 'J', design: step.design, version: 1 })
        .catch(() => undefined)
    else if (step.kind === 'follow') this.follow(Math.max(-1, this.run.durableSize - 1 - step.back))
    else if (step.kind === 'give') for (const { follower } of this.followings) follower.give()
    else if (step.kind === 'turn') await new Promise((resolve) => setImmediate(resolve))
    else await this.fail()
  }

  async frames({ count, awaited }: { count: number; awaited: boolean }): Promise<void> {
    const first = this.#frame
    this.#frame += count
    const events = Array.from({ length: count }, (_, i) => {
      const frame = first + i
      return event(frame, [code('A', 2 * frame), code(frame % 7 === 0 ? 'X' : 'F', 2 * frame + 1)])
    })
    const taken = this.run.takeFrames(events).catch(() => undefined)
    if (awaited) await taken
  }

  /** The next commit fails, the run is opened again from its ledger, and who followed goes on from its cursor. */
  async fail(): Promise<void> {
    const { database } = this.bench
    const { appendLedger } = database
    const broken = new Problem('data-full', 'no room')
    Object.assign(database, { appendLedger: () => Promise.reject(broken) })
    await this.frames({ count: 1, awaited: true })
    Object.assign(database, { appendLedger })
    expect(this.run.failed).toBe(broken)
    for (const { follower, run } of this.followings.filter(({ run }) => run === this.run)) {
      expect(follower.problems).toEqual([broken])
      expect(run).toBe(this.run)
    }
    const cursors = this.followings.filter(({ run }) => run === this.run).map(({ follower }) => follower.cursor)
    this.run = await this.bench.runs.get(this.run.runId)
    // What the controller sends again is taken.
    this.#frame = this.run.state.lastFrame + 1
    for (const cursor of cursors) this.follow(cursor)
    this.#broken = true
  }

  async end(): Promise<void> {
    await this.frames({ count: 3, awaited: true })
    for (const { follower } of this.followings) follower.open()
    const now = this.followings.filter(({ run }) => run === this.run)
    await until(() => now.every(({ follower }) => follower.cursor + 1 === this.run.durableSize))
    for (const { follower, after } of now) {
      expect(told(follower.pages)).toEqual(await all(this.run, after))
      const cursors = [after, ...follower.pages.map(({ cursor }) => cursor)]
      expect(cursors.every((cursor, i) => i === 0 || cursor > cursors[i - 1]!)).toBe(true)
    }
    // Those that a failure ended got what there was up to their cursors, once.
    for (const { follower, after } of this.followings.filter(({ run }) => run !== this.run)) {
      expect(this.#broken).toBe(true)
      const upTo = (await all(this.run, after)).filter(({ ledgerIndex }) => ledgerIndex <= follower.cursor)
      expect(told(follower.pages)).toEqual(upTo)
    }
  }
}

async function openPlay(): Promise<Play> {
  const bench = await openBench()
  const run = await bench.openProved()
  return new Play(bench, run)
}

describe('following a run', () => {
  it('tells every durable answer and revocation once and in order, whatever comes when', async () => {
    await fc.assert(
      fc.asyncProperty(fc.array(steps, { minLength: 3, maxLength: 14 }), async (list) => {
        const play = await openPlay()
        try {
          play.follow(-1)
          for (const step of list) await play.take(step)
          await play.end()
        } finally {
          await play.bench.close()
        }
      }),
      { numRuns: 40 },
    )
  })

  it('begins at any cursor, also at the end', async () => {
    const play = await openPlay()
    onTestFinished(() => play.bench.close())
    const before = play.run.durableSize
    const late = follow(play.run, before - 1)
    await play.frames({ count: 2, awaited: true })
    expect(told(late.pages)).toEqual(await all(play.run, before - 1))
    expect(told(late.pages).map(({ frame }) => frame)).toEqual([1, 1, 2, 2])
  })

  it('tells nothing before it is durable', async () => {
    const play = await openPlay()
    onTestFinished(() => play.bench.close())
    const { database } = play.bench
    const { appendLedger } = database
    let release = (): void => undefined
    const gate = new Promise<void>((resolve) => {
      release = resolve
    })
    Object.assign(database, {
      appendLedger: async (batches: never) => {
        await gate
        return appendLedger.call(database, batches)
      },
    })
    const follower = follow(play.run, play.run.durableSize - 1)
    const taken = play.run.takeFrames([
      event(1, ['X/1', code('B', 2)]),
      event(2, [code('A', 3), code('Z', 4, '01', 'K')]),
    ])
    await until(() => play.run.state.name === 'stopped')
    expect([follower.pages, play.run.shown.name, play.run.shown.causes]).toEqual([[], 'open', []])
    release()
    await taken
    expect(told(follower.pages)).toHaveLength(4)
    expect(play.run.shown).toMatchObject({
      name: 'stopped',
      by: 'rollcall',
      causes: [{ cause: { flag: 'other-job' } }],
    })
  })

  it('tells nothing after it was stopped', async () => {
    const play = await openPlay()
    onTestFinished(() => play.bench.close())
    const follower = follow(play.run, play.run.durableSize - 1)
    follower.stop()
    await play.frames({ count: 2, awaited: true })
    expect(follower.pages).toEqual([])
  })

  it('splits what one commit answered, so that no page is without measure', async () => {
    const play = await openPlay()
    onTestFinished(() => play.bench.close())
    const after = play.run.durableSize - 1
    const follower = follow(play.run, after)
    await play.frames({ count: 900, awaited: true })
    expect(follower.pages.map(({ answers }) => answers.length <= 1_024)).toEqual([true, true, true])
    expect(told(follower.pages)).toEqual(await all(play.run, after))
  })
})
