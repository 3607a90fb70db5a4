// A recorded session of a line, cut at every one of its messages in turn and taken up again by the cursor: the ledger is the same each
// time, and no answer was lost or came twice.
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { readEntries } from '../../src/ledger/index.ts'
import type { Answer, FrameEvent, LaidReport, RollcallMessage } from '../../src/protocol/index.ts'
import { until } from '../contract/fixtures/until.ts'
import { type BareController, type LineHouse, opened, openLineHouse } from '../fixtures/line-house.ts'
import { code, demand, frameOf, pitchMm } from '../fixtures/live-run.ts'

let house: LineHouse
beforeAll(async () => {
  house = await openLineHouse()
})
afterAll(() => house.close())

type Work =
  | { readonly type: 'frames'; readonly frames: readonly FrameEvent[] }
  | { readonly type: 'laid'; readonly reports: readonly LaidReport[] }
  /** A named person clears what is open; not a message, so never cut. */
  | { readonly type: 'clear' }

/** Serials begin elsewhere in each run, since runs of one job must not carry the same ones. */
const serialsARun = 40

/** One frame a message and several; no-reads, a repeat, a stop with its clearing, a backed-up web, laid reports of each word. */
function sessionOf(base: number): readonly Work[] {
  const at = (frame: number, serials: readonly (number | null)[], place = frame) =>
    frameOf(
      frame,
      serials.map((serial) => (serial === null ? null : code('LIME', base + serial))),
      place * pitchMm,
    )
  const laid = (frame: number, words: readonly LaidReport['laid'][]): LaidReport[] =>
    words.map((word, i) => ({ frame, cell: i + 1, laid: word }))
  const first = at(1, [1, 2])
  return [
    { type: 'frames', frames: [first] },
    { type: 'frames', frames: [at(2, [3, null]), at(3, [4, 5]), at(4, [6, 7])] },
    { type: 'frames', frames: [first, at(5, [8, 9])] },
    { type: 'laid', reports: [...laid(1, ['full', 'full']), ...laid(2, ['part', 'none'])] },
    { type: 'frames', frames: [frameOf(6, [code('PLUM', base + 10, '09'), code('PLUM', base + 11)])] },
    { type: 'clear' },
    { type: 'frames', frames: [at(7, [12, 13]), at(8, [8, 9], 5), at(9, [14, 15])] },
    { type: 'laid', reports: [...laid(3, ['none', 'unknown']), ...laid(7, ['full', 'full'])] },
    { type: 'frames', frames: [at(10, [16, 17])] },
  ]
}

/** A cut comes right after so many messages, sent and received, were counted; -1: none. */
interface Cutting {
  readonly at: number
  counted: number
  cuts: number
}

interface Played {
  readonly received: readonly Answer[]
  readonly messages: number
  readonly cuts: number
  readonly ledger: readonly unknown[]
}

/** Says what each message brings as it is counted, and cuts where it is told to. */
class Controller {
  readonly #runId: string
  readonly #cutting: Cutting
  readonly received: Answer[] = []
  #line: BareController | undefined
  #cursor: number
  #seen = 0
  #seq = 0

  constructor(runId: string, cursor: number, cutting: Cutting) {
    this.#runId = runId
    this.#cursor = cursor
    this.#cutting = cutting
  }

  /** Sends work again after each cut until it is accepted. */
  async perform(work: Exclude<Work, { type: 'clear' }>): Promise<void> {
    for (;;) {
      const line = await this.#connected()
      const seq = ++this.#seq
      line.send({ ...work, seq })
      this.#count(line)
      if (await this.#until(line, () => this.#accepted(line, seq))) return
    }
  }

  /** Waits until answers up to this entry have come. */
  async reach(index: number): Promise<void> {
    for (;;) {
      const line = await this.#connected()
      if (await this.#until(line, () => this.#cursor >= index)) return
    }
  }

  leave(): void {
    this.#line?.cut()
  }

  #accepted(line: BareController, seq: number): boolean {
    expect(line.all('problem')).toEqual([])
    return line.messages.slice(0, this.#seen).some((message) => message.type === 'accepted' && message.seq === seq)
  }

  async #connected(): Promise<BareController> {
    while (this.#line === undefined) {
      const line = house.connect(this.#runId)
      await opened(line)
      this.#line = line
      this.#seen = 0
      line.send({ type: 'hello', protocol: 1, controller: 'press', after: this.#cursor })
      this.#count(line)
      await this.#until(line, () => this.#seen > 0)
    }
    return this.#line
  }

  /** Takes messages one by one as they come. False once the connection was cut. */
  async #until(line: BareController, condition: () => boolean): Promise<boolean> {
    for (;;) {
      if (this.#line !== line) return false
      if (condition()) return true
      await until(() => line.messages.length > this.#seen || line.closed !== undefined)
      const message = line.messages[this.#seen]
      if (message === undefined) throw new Error(`closed with ${line.closed?.code} ${line.closed?.reason}`)
      this.#seen++
      this.#take(message)
      this.#count(line)
    }
  }

  // Kept with the cursor in one breath, as a controller must: what it counts as received it never asks for again.
  #take(message: RollcallMessage): void {
    if (message.type !== 'answers') return
    this.received.push(...message.answers)
    this.#cursor = message.cursor
  }

  #count(line: BareController): void {
    if (this.#cutting.counted++ !== this.#cutting.at) return
    this.#cutting.cuts++
    line.cut()
    this.#line = undefined
  }
}

let plays = 0

async function play(cutAt: number): Promise<Played> {
  const runId = await house.provedRun(`C${++plays}`)
  const base = plays * serialsARun
  const run = await house.run(runId)
  const begun = run.durableSize
  const cutting: Cutting = { at: cutAt, counted: 0, cuts: 0 }
  const controller = new Controller(runId, begun - 1, cutting)
  for (const work of sessionOf(base)) {
    if (work.type !== 'clear') await controller.perform(work)
    else {
      await until(() => run.shown.name === 'stopped')
      const [open] = run.shown.causes
      const body = { by: 'F. Lead', why: 'seen', cause: open!.cause, after: 'skip-rest' }
      await demand(house.server.ask('POST', `/runs/${runId}/clear`, { body }))
    }
  }
  const ledger = await ledgerOf(runId, { begun, base })
  const last = ledger.findLastIndex(({ type }) => type === 'answer')
  await controller.reach(begun + last)
  controller.leave()
  return { received: controller.received, messages: cutting.counted, cuts: cutting.cuts, ledger }
}

/** What was recorded behind the set-up, with serials counted from the run's own first. */
async function ledgerOf(runId: string, { begun, base }: { begun: number; base: number }) {
  const entries: { type: string; body: unknown }[] = []
  for await (const { type, body } of readEntries(house.bench.parts.database, { runId, from: begun })) {
    const text = JSON.stringify(body).replaceAll(/(?<=[/"])(\d{6})(?=")/g, (_, serial: string) =>
      String(Number(serial) - base).padStart(6, '0'),
    )
    entries.push({ type, body: JSON.parse(text) })
  }
  return entries
}

const labelOf = ({ frame, cell }: Answer): string => `${frame}/${cell}`

describe('a session that is cut', () => {
  it('at any message, and resumed, leaves the same ledger; no answer is lost or comes twice', async () => {
    const whole = await play(-1)
    expect(whole.cuts).toBe(0)
    const laid = (count: number) => Array.from({ length: count }, () => 'lay')
    expect(whole.received.map(({ decision, flags }) => [decision, ...flags].join(' '))).toEqual([
      ...laid(3),
      'skip no-read',
      ...laid(6),
      'stop print-version-mismatch',
      ...laid(3),
      'skip already-laid',
      'skip already-laid',
      ...laid(4),
    ])
    expect(whole.messages).toBeGreaterThan(20)
    for (let at = 0; at < whole.messages; at++) {
      const cut = await play(at)
      expect([at, cut.cuts]).toEqual([at, 1])
      expect(cut.ledger, `cut at message ${at}`).toEqual(whole.ledger)
      expect(cut.received.map(labelOf), `cut at message ${at}`).toEqual(whole.received.map(labelOf))
      expect(cut.received.map(({ ledgerIndex }) => ledgerIndex)).toEqual(
        whole.received.map(({ ledgerIndex }) => ledgerIndex),
      )
    }
  })
})
