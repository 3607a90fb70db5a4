// The line's client under random cuts, delays and orders of everything that happens on a wire: every frame is recorded once and in its
// order, and no label is laid without an answer that was here in time and not known to be revoked.
import { isDeepStrictEqual } from 'node:util'
import fc from 'fast-check'
import { afterAll, describe, expect, it } from 'vitest'
import { type Answer, type DueLabel, type LineClient, openLine } from '../../src/client/index.ts'
import { holdLineClock } from '../fixtures/line-clock.ts'
import { noReturnAfterMm, PaperLine, pitchMm } from '../fixtures/paper-line.ts'

type Step =
  | { readonly do: 'trigger'; readonly count: number; readonly missed: boolean }
  | { readonly do: 'travel'; readonly mm: number }
  | { readonly do: 'take' | 'give' | 'carry'; readonly count: number }
  | { readonly do: 'cut' }
  | { readonly do: 'wait' }
  | { readonly do: 'garbage' }
  | { readonly do: 'report' }
  | { readonly do: 'revoke'; readonly which: number }

const step: fc.Arbitrary<Step> = fc.oneof(
  {
    weight: 8,
    arbitrary: fc.record({
      do: fc.constant('trigger' as const),
      count: fc.integer({ min: 1, max: 4 }),
      missed: fc.boolean(),
    }),
  },
  { weight: 6, arbitrary: fc.record({ do: fc.constant('travel' as const), mm: fc.integer({ min: -40, max: 60 }) }) },
  {
    weight: 12,
    arbitrary: fc.record({
      do: fc.constantFrom('take', 'give', 'carry' as const),
      count: fc.integer({ min: 1, max: 5 }),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.constantFrom<Step>(
      { do: 'cut' },
      { do: 'wait' },
      { do: 'wait' },
      { do: 'garbage' },
      { do: 'report' },
    ),
  },
  { weight: 2, arbitrary: fc.record({ do: fc.constant('revoke' as const), which: fc.nat({ max: 1_000 }) }) },
)

const turn = (): Promise<void> => new Promise((resolve) => setImmediate(resolve))

/** A controller, the wire, and what a label's decision may rest on. */
class Trial {
  readonly paper = new PaperLine()
  readonly clock = holdLineClock()
  readonly client: LineClient
  readonly given: number[] = []
  readonly promises: Promise<unknown>[] = []
  readonly due: DueLabel[] = []
  readonly laid: string[] = []
  readonly wrong: string[] = []
  /** Ledger indices of the answers and revocations that the client told of. */
  readonly told: number[] = []
  private readonly delivered = new Map<string, Answer>()
  private readonly revoked = new Set<string>()
  private mm = 0
  private nextFrame = 0

  constructor(windowFrames: number) {
    this.paper.windowFrames = windowFrames
    this.paper.decide = (frame, cell) => (frame % 7 === 3 ? 'skip' : frame % 11 === 5 && cell === 2 ? 'stop' : 'lay')
    const { clock, paper } = this
    const about = { url: 'http://line.example', runId: 'R1', controller: 'plc-1' }
    this.client = openLine({ ...about, clock, random: () => 0.5, WebSocket: paper.WebSocket })
    this.client.onDue((label) => this.settle(label))
    this.client.onAnswer(({ ledgerIndex }) => this.told.push(ledgerIndex))
    this.client.onRevocation(({ ledgerIndex }) => this.told.push(ledgerIndex))
  }

  // Looked at as it happens: what was known then is what counts.
  private settle(label: DueLabel): void {
    const key = `${label.frame}/${label.cell}`
    this.due.push(label)
    if (label.noReturnMm > this.mm) this.wrong.push(`${key} was settled too early`)
    if (label.decision === 'skip') return
    if (!isDeepStrictEqual(label.decision, this.delivered.get(key))) this.wrong.push(`${key} had no such answer`)
    if (label.decision.decision !== 'lay') this.wrong.push(`${key} was answered ${label.decision.decision}`)
    if (this.revoked.has(key)) this.wrong.push(`${key} was revoked`)
    this.laid.push(key)
  }

  private give(): void {
    // Known to the test before the client hears of it, which then acts at once.
    const text = this.paper.socket.toClient[0]
    const message = text === undefined ? undefined : JSON.parse(text)
    for (const answer of message?.answers ?? []) this.delivered.set(`${answer.frame}/${answer.cell}`, answer)
    for (const { frame, cell } of message?.revocations ?? []) this.revoked.add(`${frame}/${cell}`)
    this.paper.giveOne()
  }

  private trigger(count: number, missed: boolean): void {
    const events = Array.from({ length: count }, (_, i) => {
      if (i > 0) this.travel(pitchMm)
      if (missed && i === 1) this.nextFrame += 1
      const frame = this.nextFrame++
      return { frame, positionMm: this.mm, reads: [{ cell: 1, text: `T${frame}` }] }
    })
    this.given.push(...events.map(({ frame }) => frame))
    this.promises.push(this.client.frames(events))
  }

  private travel(mm: number): void {
    this.mm += mm
    this.client.position(this.mm)
  }

  private report(): void {
    const laid = this.laid.map((label) => ({ frame: Number(label.split('/')[0]), cell: Number(label.split('/')[1]) }))
    if (laid.length > 0) this.promises.push(this.client.laid(laid.map((label) => ({ ...label, laid: 'full' }))))
  }

  async run(one: Step): Promise<void> {
    const { paper } = this
    if (one.do === 'trigger') this.trigger(one.count, one.missed)
    else if (one.do === 'travel') this.travel(one.mm)
    else if (one.do === 'cut') paper.socket.end(1006)
    else if (one.do === 'wait') this.clock.fireNext()
    else if (one.do === 'report') this.report()
    else if (one.do === 'garbage') paper.socket.hand('{"type":"answers"}')
    else if (one.do === 'revoke') {
      const answer = paper.answers.filter(({ decision }) => decision === 'lay').at(-1 - (one.which % 20))
      if (answer) paper.revoke(answer)
    } else {
      if (!paper.socket.isOpen && !paper.socket.isClosed) paper.socket.open()
      for (let i = 0; i < one.count; i++) {
        if (one.do !== 'give') paper.takeOne()
        if (one.do !== 'take') this.give()
      }
    }
    await turn()
  }

  /** A wire that works again, until nothing waits. */
  async settleAll(): Promise<void> {
    const { client } = this
    const isBusy = () => client.waiting.frames + client.waiting.reports > 0 || client.connection.state !== 'open'
    for (let i = 0; i < 1_000 && isBusy(); i++) {
      if (client.connection.state !== 'open') await this.run({ do: 'wait' })
      await this.run({ do: 'carry', count: 5 })
    }
    await this.run({ do: 'carry', count: 50 })
    for (let mm = 0; mm < noReturnAfterMm + 200; mm += 20) this.travel(20)
  }
}

let laidInAll = 0
let settledInAll = 0
afterAll(() => console.log(`settled ${settledInAll} labels, of which laid ${laidInAll}`))

describe('the client on a bad wire', () => {
  it('has every frame recorded once and in order, settles each label once, and lays by what it knew', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.array(step, { minLength: 20, maxLength: 150 }),
        fc.integer({ min: 1, max: 12 }),
        async (steps, windowFrames) => {
          const trial = new Trial(windowFrames)
          await turn()
          for (const one of steps) await trial.run(one)
          await trial.settleAll()
          await Promise.all(trial.promises)
          expect(trial.wrong).toEqual([])
          expect(trial.paper.frames).toEqual(trial.given)
          const toTell = trial.paper.entries.flatMap(({ type }, i) =>
            type === 'answer' || type === 'revocation' ? [i] : [],
          )
          expect(trial.told.toSorted((a, b) => a - b)).toEqual(toTell)
          const settled = trial.due.map(({ frame, cell }) => `${frame}/${cell}`)
          expect(settled.toSorted()).toEqual(trial.given.flatMap((frame) => [`${frame}/1`, `${frame}/2`]).toSorted())
          expect(trial.paper.laid.every((label) => trial.laid.includes(label))).toBe(true)
          for (const { frame, cell, decision } of trial.due)
            if (decision === 'skip') expect(trial.client.decide(frame, cell)).toBe('skip')
          laidInAll += trial.laid.length
          settledInAll += settled.length
          await trial.client.close()
        },
      ),
      { numRuns: 150 },
    )
    expect(laidInAll).toBeGreaterThan(settledInAll / 20)
  })
})
