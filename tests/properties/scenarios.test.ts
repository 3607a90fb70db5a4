// The demo's rolls: deterministic, with every trouble in them once a label, and with an answer expected for each label.
import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { fittingVersion } from '../../demo-jobs/orders.ts'
import { plantKinds } from '../../demo-jobs/plants.ts'
import type { ScenarioLabel } from '../../demo-jobs/roll.ts'
import { frameAt, type Scenario } from '../../demo-jobs/scenario.ts'
import { demoScenarios, scenarioNamed } from '../../demo-jobs/scenarios.ts'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import type { Flag } from '../../src/kernel/terms.ts'
import { defaultPolicy, lineSchema, ticketSchema } from '../../src/lines/index.ts'

const digests: Record<string, string> = {
  'quillgarth-preserves': '0649055f7187a2966deceac72625e7a58c8fa33df758f076cc98e803e2841d47',
  'thrushwick-gins': '788791c95c43e4d5354a6eae3ec077bcf207d45088f00d2570126ab12b4dcbef',
  'wrenfold-yoghurts': '2c61f2ccda5c1b0ea87033387d69dc04957454e8181e5e877f2aee4436395c27',
  'larkmere-honeys': '33d1d8b31a6d01d4b362438b82d9c55d7a26180348ebcfa1b4bf854412dcd3c6',
}

interface Spot {
  readonly frame: number
  readonly setup: boolean
  readonly label: ScenarioLabel
}

const labelsOf = ({ roll }: Scenario): readonly Spot[] =>
  roll.flatMap(({ frame, setup, labels }) => labels.map((label) => ({ frame, setup, label })))
const answerOf = ({ expected }: Scenario, { frame, label }: Spot) => expected(frame, label.cell)

/** The first time that a place of a backed-up web is seen. */
const firstSight = ({ plan: { backUp } }: Scenario, frame: number): number => frame - backUp.pitches

describe('the demo', () => {
  it('finds each of its jobs by its name', () => {
    expect(demoScenarios[0]).toBe(scenarioNamed('quillgarth-preserves'))
    expect(() => scenarioNamed('nobody')).toThrow(RangeError)
    expect(new Set(demoScenarios.map(({ name }) => name)).size).toBe(demoScenarios.length)
  })

  it('plants every kind of trouble somewhere', () => {
    const planted = new Set(demoScenarios.flatMap(labelsOf).flatMap(({ label }) => label.plant ?? []))
    expect([...planted].sort()).toEqual([...plantKinds].sort())
  })
})

describe.each(demoScenarios)('the roll of $name', (scenario) => {
  const { roll, plan, plants } = scenario
  const labels = labelsOf(scenario)
  const web = scenario.job.frame

  it('is the same on every machine', () => {
    expect(sha256Hex(JSON.stringify(roll))).toBe(digests[scenario.name])
  })

  it('plants no two troubles on one label, and none outside the roll', () => {
    const spots = plants.flatMap(({ first, last, cells }) =>
      Array.from({ length: last - first + 1 }, (_, at) => cells.map((cell) => `${first + at}/${cell}`)).flat(),
    )
    expect(new Set(spots).size).toBe(spots.length)
    expect(labels.filter(({ label }) => label.plant !== undefined).length).toBe(spots.length)
  })

  it('prints a text again only in set-up, where the press repeated itself, and where the web was backed up', () => {
    const { repeat } = plan
    const seen = new Set<string>()
    for (const { frame, setup, label } of labels) {
      const key = web.codeAt.identifies === 'frame' ? `${label.cell} ${label.text}` : label.text
      const again = !setup && seen.has(key)
      if (!setup && label.look !== 'glared') seen.add(key)
      const isRepeat = label.plant === 'duplicate' || label.plant === 'backed-up'
      expect(again).toBe(isRepeat)
      if (!isRepeat) continue
      const source = label.plant === 'duplicate' ? repeat.of : firstSight(scenario, frame)
      expect(label.text).toBe(frameAt(scenario, source).labels[label.cell - 1]!.text)
      expect(scenario.expected(source, label.cell).decision).toBe('lay')
    }
    expect(plants.filter(({ kind }) => kind === 'duplicate')).toMatchObject([
      { first: repeat.frame, cells: repeat.cells },
    ])
  })

  it('sees a label well the second time only where it was glared the first time', () => {
    for (const { frame, label } of labels.filter((one) => one.label.plant === 'second-look')) {
      const first = frameAt(scenario, firstSight(scenario, frame)).labels[label.cell - 1]!
      expect(first).toEqual({ ...label, look: 'glared', plant: 'glared' })
      expect(scenario.expected(firstSight(scenario, frame), label.cell).decision).toBe('skip')
    }
  })

  it('moves on by one pitch a frame but for the splice and the back-up', () => {
    const { backUp, splice } = plan
    for (const { frame, place, positionUm } of roll.slice(1)) {
      const before = frameAt(scenario, frame - 1)
      const stepped = frame === backUp.afterFrame + 1 ? 1 - backUp.pitches : 1
      const shift = frame === splice?.beforeFrame ? splice.phaseShiftUm : 0
      expect(place - before.place).toBe(stepped)
      const offUm = Math.abs(positionUm - before.positionUm - stepped * web.pitchMm * 1000 - shift)
      expect(offUm).toBeLessThan(250)
    }
  })

  it('misses as many serials at a splice as frames were cut out', () => {
    const { splice } = scenario
    expect(splice === undefined).toBe(plan.splice === undefined)
    if (!splice) return
    const [before, after] = [frameAt(scenario, splice.beforeFrame - 1), frameAt(scenario, splice.beforeFrame)]
    for (const [index, label] of after.labels.entries()) {
      expect(Number(label.serial) - Number(before.labels[index]!.serial)).toBe(splice.frames + 1)
    }
    expect(splice.positionUm).toBeGreaterThan(before.positionUm)
    expect(splice.positionUm).toBeLessThan(after.positionUm)
  })

  it('comes with a line and a ticket that fit their schemas and the job', () => {
    const line = lineSchema.parse(JSON.parse(readFileSync(scenario.files.line, 'utf8')))
    const ticket = ticketSchema.parse(JSON.parse(readFileSync(scenario.files.ticket, 'utf8')))
    expect(ticket.jobs).toEqual([{ job: scenario.job.job }])
    expect(web.substrates).toContain(ticket.substrate)
    expect(ticket.expectedFrames).toBe(roll.length - plan.backUp.pitches)
    expect(line.webWidthMmMax).toBeGreaterThanOrEqual(web.webWidthMm)
    expect(web.eyeMark.topMm + line.camera!.topMm).toBe(0)
  })
})

describe.each(demoScenarios)('the answers expected of $name', (scenario) => {
  const labels = labelsOf(scenario)

  it('lay set-up labels as set-up, and nothing else as set-up', () => {
    for (const one of labels) {
      const answer = answerOf(scenario, one)
      expect(answer.setup ?? false).toBe(one.frame < scenario.setupFrames)
      if (answer.setup) expect(answer).toMatchObject({ decision: 'lay', flags: [] })
    }
  })

  it('name a version exactly where they lay, and the newest that the job delivered for that print version', () => {
    for (const one of labels) {
      const { decision, version } = answerOf(scenario, one)
      expect(version !== undefined).toBe(decision === 'lay')
      if (version === undefined) continue
      expect(one.label.job).toBe(scenario.job.job)
      expect(version).toBe(fittingVersion(scenario.job, one.label.design, one.label.print))
    }
  })

  it('lay only what is released', () => {
    const released = scenario.packages.flatMap(({ job, released: versions }) =>
      versions.map(({ design, version }) => `${job}/${design}/${version}`),
    )
    for (const one of labels) {
      const { version } = answerOf(scenario, one)
      const { job, design } = one.label
      if (version !== undefined) expect(released).toContain(`${job}/${design}/${version}`)
    }
  })

  it('are no milder than the default policy allows for their flags', () => {
    for (const one of labels) {
      const { decision, flags } = answerOf(scenario, one)
      for (const flag of flags) expect(defaultPolicy[flag].decision === 'lay').toBe(decision === 'lay')
    }
  })

  it('stop once for each cause, at its first label', () => {
    const stopped = new Set<string>()
    for (const one of labels) {
      const { decision, flags } = answerOf(scenario, one)
      const flag = flags[0]
      if (!flag || defaultPolicy[flag].decision !== 'stop' || flag === 'withdrawn') continue
      const cause = [flag, one.label.job, one.label.design, one.label.print].join(' ')
      expect(decision).toBe(stopped.has(cause) ? 'skip' : 'stop')
      stopped.add(cause)
    }
  })

  it('ask for a stop by numbers (`stopAfter`) where the plants say so, and nowhere else', () => {
    const recent = new Map<Flag, number[]>()
    const cleared = new Set<Flag>()
    const reached: { frame: number; cell: number }[] = []
    for (const [at, one] of labels.filter(({ setup }) => !setup).entries()) {
      for (const flag of answerOf(scenario, one).flags) {
        const { stopAfter } = defaultPolicy[flag]
        if (!stopAfter || cleared.has(flag)) continue
        const within = [...(recent.get(flag) ?? []), at].filter((label) => label > at - stopAfter.within)
        recent.set(flag, within)
        if (within.length < stopAfter.count) continue
        // The lead looks once; from then on the rest of these skip.
        cleared.add(flag)
        reached.push({ frame: one.frame, cell: one.label.cell })
        expect(answerOf(scenario, one).decision).toBe('stop')
      }
    }
    expect(reached).toEqual(scenario.escalations)
  })
})
