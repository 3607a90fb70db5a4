// Driving the line: marks pass the eye, labels come to their points of no return, the web stops, is backed up and starts again, in the
// order in which the encoder brings them. Nothing here knows what the answers ought to be.
import { Problem } from '../../kernel/problem.ts'
import type { FrameEvent } from '../../protocol/index.ts'
import type { Controller } from './controller.ts'
import type { LineGeometry } from './geometry.ts'
import type { Head } from './head.ts'
import type { Logbook } from './logbook.ts'
import type { Material } from './material.ts'
import type { Motion } from './motion.ts'
import type { Pace } from './pace.ts'
import type { Read, Reading } from './reading.ts'
import type { Scenario, TroubleOf } from './scenario.ts'
import { openStretches } from './stretches.ts'

/** What people do while the web stands. */
export interface People {
  /** Clears stops and proves; `end`: they leave it at that. */
  attend(): Promise<'go-on' | 'end'>
  /** Somebody has to compare set-up labels before the run proper. */
  readonly proving: boolean
}

export interface DriveParts {
  readonly scenario: Scenario
  readonly seed: number
  readonly geometry: LineGeometry
  readonly material: Material
  readonly reading: Reading
  readonly motion: Motion
  readonly pace: Pace
  readonly controller: Controller
  readonly head: Head
  readonly book: Logbook
  readonly people: People
  readonly reactionMs: number
  /** Frames under way at most, flat out. */
  readonly windowFrames: number
  /** Reports a splice that the line tells of. */
  readonly reportSplice: (at: { readonly positionMm: number; readonly frames: number }) => Promise<void>
  readonly onStep: (now: DriveNow) => void
  readonly signal: AbortSignal
}

export interface DriveNow {
  readonly lineMs: number
  readonly positionMm: number
  readonly mPerMin: number
  readonly place: number
  readonly frame: number
}

/** How long an answer is waited for flat out, and by people who stand at the web, ms by the wall. */
const patienceMs = 30_000
/** Laid reports of so many steps go out together. */
const stepsTogether = 64

interface Happening {
  readonly kind: 'mark' | 'false-mark' | 'due' | 'stand' | 'tick' | 'run-out'
  readonly atMs: number
}

interface Halt {
  readonly standS: number
  readonly backUpMm: number
}

/** Frames whose labels are not all past their points of no return, by where the next of these is. */
interface Due {
  readonly atMm: number
  readonly event: FrameEvent
}

class Drive {
  private readonly parts: DriveParts
  private lineMs = 0
  private place = 0
  private frame = 0
  private falseMarkMm: number | undefined
  private halt: Halt | undefined
  private setUpLeft: number
  private dues: Due[] = []
  private held: FrameEvent | undefined
  private awayUntil = -1
  /** First place that was not seen yet: what is planted on the line itself happens once. */
  private unseen = 0
  private steps = 0
  private readonly missedAt
  private readonly repeatAt
  ended: 'roll' | 'stop' = 'roll'

  constructor(parts: DriveParts) {
    this.parts = parts
    const { scenario, seed } = parts
    this.setUpLeft = scenario.roll.setUpFrames
    this.missedAt = openStretches(scenario, seed, ['missed-mark'])
    this.repeatAt = openStretches(scenario, seed, ['repeat'])
  }

  private get positionMm(): number {
    return this.parts.motion.at(this.lineMs).positionMm
  }

  private troubleAt<K extends 'false-mark' | 'back-up' | 'reconnect' | 'controller-dies' | 'reorder'>(
    kind: K,
  ): TroubleOf<K> | undefined {
    const { troubles } = this.parts.scenario
    return troubles.find((one): one is TroubleOf<K> => one.kind === kind && 'at' in one && one.at === this.place)
  }

  private speedHere(): number {
    const { speeds } = this.parts.scenario.line
    return speeds.findLast(({ from }) => from <= this.place)?.mPerMin ?? speeds[0]?.mPerMin ?? 1
  }

  async run(): Promise<void> {
    const { motion, pace, signal, controller } = this.parts
    motion.run(0, this.speedHere())
    for (let next = this.next(); next; next = this.next()) {
      signal.throwIfAborted()
      if (controller.ended !== undefined) throw new Problem('run-state', `the line has ended: ${controller.ended}`)
      await pace.reach(next.atMs)
      this.lineMs = next.atMs
      await this.happen(next)
      if (this.ended === 'stop') return
      this.brakeIfAsked()
      this.tell()
    }
    await this.settle()
    this.report()
  }

  private tell(): void {
    const { motion, onStep } = this.parts
    const { positionMm, mPerMin } = motion.at(this.lineMs)
    onStep({ lineMs: this.lineMs, positionMm, mPerMin, place: this.place, frame: this.frame })
  }

  /** What comes next; undefined once the roll has run out of the line. */
  private next(): Happening | undefined {
    const { motion, material, geometry, pace } = this.parts
    const isOut = this.place >= material.frames
    const stops: [Happening['kind'], number | undefined][] = [
      ['due', this.dues[0]?.atMm],
      ['false-mark', this.falseMarkMm],
      ['mark', isOut ? undefined : material.markMm(this.place)],
    ]
    if (isOut && this.dues.length === 0 && this.parts.head.busy === 0) return undefined
    if (isOut)
      stops.push(['run-out', Math.max(this.positionMm, material.markMm(material.frames - 1) + geometry.lengthMm)])
    const found = stops.flatMap(([kind, mm]): Happening[] => {
      const atMs = mm === undefined ? undefined : motion.timeOf(mm, this.lineMs)
      return atMs === undefined ? [] : [{ kind, atMs }]
    })
    const standsMs = motion.standsMs()
    if (standsMs !== undefined) found.push({ kind: 'stand', atMs: Math.max(standsMs, this.lineMs) })
    const nowMs = pace.nowMs()
    if (nowMs !== undefined) found.push({ kind: 'tick', atMs: Math.max(this.lineMs, nowMs) + pace.tickMs })
    return found.reduce((soonest, one) => (one.atMs < soonest.atMs ? one : soonest))
  }

  private async happen(next: Happening): Promise<void> {
    const { controller, head } = this.parts
    if (next.kind === 'due') await this.reachDue()
    else if (next.kind === 'false-mark') await this.passFalseMark()
    else if (next.kind === 'mark') await this.passMark()
    else if (next.kind === 'stand') await this.stand()
    else controller.moveTo(this.positionMm)
    this.steps += 1
    if (next.kind === 'run-out' || (this.steps % stepsTogether === 0 && head.busy > 0)) this.report()
  }

  // Flat out, the web waits for what a server would have had the time to say.
  private async reachDue(): Promise<void> {
    const { controller, pace } = this.parts
    const [due] = this.dues
    if (!due) return
    if (pace.kind === 'flat-out' && controller.alive) await this.waitUntil(() => controller.isSettled(due.event.frame))
    this.dues.shift()
    controller.moveTo(Math.max(this.positionMm, due.atMm))
  }

  private async passMark(): Promise<void> {
    const { material, scenario, controller, reading, motion, reportSplice } = this.parts
    const { place } = this
    const isFresh = place >= this.unseen
    this.unseen = Math.max(this.unseen, place + 1)
    const positionMm = material.markMm(place)
    controller.moveTo(positionMm)
    if (isFresh) await this.plantBefore(positionMm, reportSplice)
    if (scenario.line.speeds.some(({ from }) => from === place) && !this.halt) motion.run(this.lineMs, this.speedHere())
    const deceived = this.troubleAt('false-mark')
    if (deceived) this.falseMarkMm = positionMm + deceived.offsetMm
    if (!this.missedAt(place, 0)) await this.trigger(positionMm, place, reading.readsAt(place))
    const backUp = isFresh ? this.troubleAt('back-up') : undefined
    if (backUp) this.brake({ standS: backUp.standS, backUpMm: backUp.mm }, 0)
    this.place += 1
    this.countSetUp()
  }

  private async plantBefore(positionMm: number, reportSplice: DriveParts['reportSplice']): Promise<void> {
    const { material, controller } = this.parts
    const splice = material.spliceAt(this.place)
    if (splice?.told) {
      await this.settle()
      await reportSplice({ positionMm: positionMm - 1, frames: splice.framesCutOut })
    }
    const death = this.troubleAt('controller-dies')
    if (death) {
      await this.settle()
      controller.die()
      this.awayUntil = this.place + death.awayFrames
    }
    if (!controller.alive && this.place >= this.awayUntil) {
      controller.revive([...new Set(this.dues.map(({ event }) => event))])
      controller.moveTo(positionMm)
    }
  }

  private async passFalseMark(): Promise<void> {
    const positionMm = this.falseMarkMm ?? this.positionMm
    this.falseMarkMm = undefined
    const { reading } = this.parts
    const nothing = reading.readsAt(this.place).map((read): Read => ({ ...spotOf(read), text: null }))
    await this.trigger(Math.round(positionMm * 1_000) / 1_000, -1, nothing)
  }

  private async trigger(positionMm: number, place: number, reads: Read[]): Promise<void> {
    const { controller, book, pace, windowFrames } = this.parts
    const frame = this.frame++
    book.trigger(frame, place)
    if (!controller.alive) return
    const event: FrameEvent = { frame, positionMm, reads }
    if (this.troubleAt('reorder') && place >= 0) {
      this.held = event
      return
    }
    this.give(event)
    if (this.repeatAt(place, 0)) controller.send(event)
    if (this.troubleAt('reconnect') && place + 1 === this.unseen) controller.cut()
    if (this.held) this.give(this.held)
    this.held = undefined
    if (pace.kind === 'flat-out') await this.waitUntil(() => controller.outstanding < windowFrames)
  }

  private give(event: FrameEvent): void {
    const { controller, geometry } = this.parts
    controller.send(event)
    for (const offset of new Set(geometry.cells.map(({ noReturnAfterMm }) => noReturnAfterMm))) {
      const due = { atMm: event.positionMm + offset, event }
      // Mostly they come in order; after a back-up, or with several rows, they do not.
      const isOrdered = (this.dues.at(-1)?.atMm ?? due.atMm) <= due.atMm
      this.dues.push(due)
      if (!isOrdered) this.dues.sort((a, b) => a.atMm - b.atMm)
    }
  }

  private countSetUp(): void {
    const { people, controller, scenario } = this.parts
    if (!people.proving && !controller.provingAsked) return
    this.setUpLeft -= 1
    if (this.setUpLeft <= 0) this.brake({ standS: scenario.line.standS, backUpMm: 0 }, 0)
  }

  private brakeIfAsked(): void {
    const { controller, scenario, reactionMs } = this.parts
    if (controller.stopAsked) this.brake({ standS: scenario.line.standS, backUpMm: 0 }, reactionMs)
  }

  private brake(halt: Halt, reactionMs: number): void {
    if (this.halt) return
    this.halt = halt
    this.parts.motion.brake(this.lineMs, reactionMs)
  }

  private async stand(): Promise<void> {
    const { head, controller, motion, pace, people, scenario } = this.parts
    const { halt } = this
    if (!halt) throw new Problem('internal', 'the simulated web stands for no reason')
    controller.moveTo(this.positionMm)
    head.stand(this.positionMm)
    this.report()
    await this.settle()
    if ((await people.attend()) === 'end') {
      this.ended = 'stop'
      return
    }
    controller.attended()
    this.setUpLeft = scenario.roll.setUpFrames
    this.lineMs = Math.max(this.lineMs, pace.nowMs() ?? 0) + halt.standS * 1_000
    await pace.reach(this.lineMs)
    if (halt.backUpMm > 0) await this.backUp(halt.backUpMm)
    this.halt = undefined
    motion.run(this.lineMs, this.speedHere())
  }

  // Marks that pass the eye backwards trigger nothing; they pass it again on the way forward.
  private async backUp(mm: number): Promise<void> {
    const { motion, pace, controller, material } = this.parts
    motion.backUp(this.lineMs, mm)
    this.lineMs = motion.standsMs() ?? this.lineMs
    await pace.reach(this.lineMs)
    controller.moveTo(this.positionMm)
    this.falseMarkMm = undefined
    while (this.place > 0 && material.markMm(this.place - 1) > this.positionMm) this.place -= 1
  }

  private async settle(): Promise<void> {
    const { controller } = this.parts
    if (controller.alive) await this.waitUntil(() => controller.outstanding === 0)
  }

  // What is not answered in all that time is not waited for again; the comparison will tell of it.
  private async waitUntil(condition: () => boolean): Promise<void> {
    const { controller } = this.parts
    const isMet = await controller.until(() => condition() || controller.ended !== undefined, patienceMs)
    if (!isMet) controller.giveUp()
  }

  private report(): void {
    const { head, controller } = this.parts
    controller.report(head.passed(this.positionMm))
  }
}

const spotOf = ({ cell, lane }: Read): Partial<Read> => ({
  ...(cell === undefined ? {} : { cell }),
  ...(lane === undefined ? {} : { lane }),
})

/** Runs the roll through; says how it ended. */
export async function drive(parts: DriveParts): Promise<'roll' | 'stop'> {
  const run = new Drive(parts)
  await run.run()
  return run.ended
}
