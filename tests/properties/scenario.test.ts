// The demo's roll: deterministic, with every trouble in it once a label, and with an answer expected for each.
import { describe, expect, it } from 'vitest'
import { expected, revocable } from '../../demo-jobs/expected.ts'
import { demoJobs, preserves } from '../../demo-jobs/orders.ts'
import { backUp, plantAt, plantKinds, plants, repeat, setupFrames, splice, wetSmear } from '../../demo-jobs/plants.ts'
import { frameAt, roll, type ScenarioLabel, spliceEvent } from '../../demo-jobs/scenario.ts'
import { webFrame } from '../../demo-jobs/web.ts'
import { compileTemplate } from '../../src/codes/index.ts'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import type { Flag } from '../../src/kernel/terms.ts'
import { defaultPolicy } from '../../src/lines/index.ts'

const labels = roll.flatMap(({ frame, setup, labels: inFrame }) => inFrame.map((label) => ({ frame, setup, label })))
const answerOf = ({ frame, label }: { frame: number; label: ScenarioLabel }) => expected(frame, label.cell)

describe('the roll', () => {
  it('is the same on every machine', () => {
    expect(roll).toHaveLength(240)
    expect(sha256Hex(JSON.stringify(roll))).toBe('0649055f7187a2966deceac72625e7a58c8fa33df758f076cc98e803e2841d47')
  })

  it('holds every kind of trouble', () => {
    const planted = new Set(labels.flatMap(({ label }) => label.plant ?? []))
    expect([...planted].sort()).toEqual([...plantKinds].sort())
  })

  it('plants no two troubles on one label, and none outside the roll', () => {
    const spots = plants.flatMap(({ first, last, cells }) =>
      Array.from({ length: last - first + 1 }, (_, at) => cells.map((cell) => `${first + at}/${cell}`)).flat(),
    )
    expect(new Set(spots).size).toBe(spots.length)
    expect(labels.filter(({ frame, label }) => plantAt(frame, label.cell)).length).toBe(spots.length)
  })

  it('carries codes that its jobs’ rules read back, the garbled ones aside', () => {
    const rules = new Map(
      demoJobs.map(({ job, template }) => [job, compileTemplate(template, { job, symbologies: ['qr'] })]),
    )
    for (const { label } of labels) {
      const identity = rules.get(label.job)?.match(label.text)
      const { design, print, serial } = label
      expect(identity).toEqual(label.plant === 'garbled-code' ? undefined : { design, print, serial })
    }
  })

  it('prints a serial twice only in set-up, where the press repeated itself, and where the web was backed up', () => {
    const seen = new Set<string>()
    const again = labels.filter(({ setup, label }) => {
      if (setup) return false
      const known = seen.has(label.text)
      seen.add(label.text)
      return known
    })
    expect(new Set(again.map(({ label }) => label.plant))).toEqual(new Set(['duplicate', 'backed-up']))
    expect(again).toHaveLength(webFrame.cells.length * (1 + backUp.pitches))
    for (const { frame, label } of again) {
      const source = label.plant === 'duplicate' ? repeat.of : frame - backUp.pitches
      expect(label.text).toBe(frameAt(source).labels[label.cell - 1]!.text)
      expect(expected(source, label.cell).decision).toBe('lay')
    }
  })

  it('moves on by one pitch a frame but for the splice and the back-up', () => {
    for (const { frame, place, positionUm } of roll.slice(1)) {
      const before = frameAt(frame - 1)
      const stepped = frame === backUp.afterFrame + 1 ? 1 - backUp.pitches : 1
      const shift = frame === splice.beforeFrame ? splice.phaseShiftUm : 0
      expect(place - before.place).toBe(stepped)
      const offUm = Math.abs(positionUm - before.positionUm - stepped * webFrame.pitchMm * 1000 - shift)
      expect(offUm).toBeLessThan(250)
    }
  })

  it('misses as many serials at the splice as frames were cut out', () => {
    const [before, after] = [frameAt(spliceEvent.beforeFrame - 1), frameAt(spliceEvent.beforeFrame)]
    for (const [lane, label] of after.labels.entries()) {
      expect(Number(label.serial) - Number(before.labels[lane]!.serial)).toBe(spliceEvent.frames + 1)
    }
    expect(spliceEvent.positionUm).toBeGreaterThan(before.positionUm)
    expect(spliceEvent.positionUm).toBeLessThan(after.positionUm)
  })
})

describe('the answers expected', () => {
  it('lay set-up labels as set-up, and nothing else as set-up', () => {
    for (const one of labels) {
      const answer = answerOf(one)
      expect(answer.setup ?? false).toBe(one.frame < setupFrames)
      if (answer.setup) expect(answer).toMatchObject({ decision: 'lay', flags: [] })
    }
  })

  it('name a version exactly where they lay, and only one that the job delivered for that print version', () => {
    for (const one of labels) {
      const { decision, version } = answerOf(one)
      expect(version !== undefined).toBe(decision === 'lay')
      if (version === undefined) continue
      const delivered = preserves.packages.flatMap(({ versions }) => versions)
      const fits = delivered.filter(
        ({ design, printVersions }) => design === one.label.design && printVersions.includes(one.label.print),
      )
      expect(version).toBe(Math.max(...fits.map((fit) => fit.version)))
    }
  })

  it('are no milder than the default policy allows for their flags', () => {
    for (const one of labels) {
      const { decision, flags } = answerOf(one)
      for (const flag of flags) expect(defaultPolicy[flag].decision === 'lay').toBe(decision === 'lay')
    }
  })

  it('stop once for each cause, at its first label', () => {
    const stopped = new Map<string, string>()
    for (const one of labels) {
      const { decision, flags } = answerOf(one)
      const flag = flags[0]
      if (!flag || defaultPolicy[flag].decision !== 'stop' || flag === 'withdrawn') continue
      const cause = [flag, one.label.job, one.label.design, one.label.print].join(' ')
      expect(decision).toBe(stopped.has(cause) ? 'skip' : 'stop')
      stopped.set(cause, cause)
    }
    expect(stopped.size).toBe(5)
    expect(revocable).toHaveLength(14)
  })

  it('reach `stopAfter` once, where the wet smear says so', () => {
    const recent = new Map<Flag, number[]>()
    const reached: { frame: number; cell: number; flag: Flag }[] = []
    for (const [at, one] of labels.filter(({ setup }) => !setup).entries()) {
      for (const flag of answerOf(one).flags) {
        const { stopAfter } = defaultPolicy[flag]
        if (!stopAfter) continue
        const within = [...(recent.get(flag) ?? []), at].filter((label) => label > at - stopAfter.within)
        recent.set(flag, within)
        if (within.length >= stopAfter.count) reached.push({ frame: one.frame, cell: one.label.cell, flag })
      }
    }
    expect(reached).toEqual([{ ...wetSmear.escalates, flag: 'no-read' }])
    expect(expected(wetSmear.escalates.frame, wetSmear.escalates.cell).decision).toBe('stop')
  })
})
