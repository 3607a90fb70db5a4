// The honeys' second pass: the first one's labels in reverse, set-up aside, each with an answer expected.
import { describe, expect, it } from 'vitest'
import { repeat, setupFrames } from '../../demo-jobs/larkmere-honeys/plants.ts'
import { expectedAgain, secondPass, setupFramesAgain, textSeen } from '../../demo-jobs/larkmere-honeys/second-pass.ts'
import { honeysScenario } from '../../demo-jobs/scenarios.ts'

const { roll } = honeysScenario
const spots = secondPass.flatMap((frame) => frame.labels.map((label) => ({ frame, label })))

describe('the second pass', () => {
  it('meets every printed frame once, the last one first, up to the set-up that was cut out', () => {
    const places = new Map(roll.map(({ place, labels }) => [labels.map(({ text }) => text).join(), place]))
    const met = secondPass.map(({ labels }) => places.get(labels.map(({ text }) => text).join()))
    const last = Math.max(...roll.map(({ place }) => place))
    expect(met).toHaveLength(last - setupFrames + 1)
    expect(met[0]).toBe(last)
    expect(secondPass.map(({ frame }) => frame)).toEqual(met.map((_, index) => index))
  })

  it('lays on no label that the first pass skipped', () => {
    for (const { frame, label } of spots) {
      const first = roll.find(({ labels }) => labels.includes(label))!
      if (honeysScenario.expected(first.frame, label.cell).decision === 'lay') continue
      expect(['skip', 'stop']).toContain(expectedAgain(frame, label).decision)
    }
  })

  it('reads what was glared in the first pass, and leaves it alone', () => {
    const glared = spots.filter(({ label }) => label.look === 'glared')
    expect(glared.length).toBe(3)
    for (const { frame, label } of glared) {
      expect(textSeen(label)).toBe(label.text)
      const decision = frame.frame === 31 ? 'stop' : 'skip'
      expect(expectedAgain(frame, label)).toEqual({ decision, flags: ['pass-mismatch'] })
    }
  })

  it('lays on neither of two labels with one serial', () => {
    const repeated = spots.filter(({ label }) => label.text === roll[repeat.of]!.labels[repeat.cells[0] - 1]!.text)
    expect(repeated.length).toBe(2)
    for (const { frame, label } of repeated)
      expect(expectedAgain(frame, label)).toEqual({ decision: 'skip', flags: ['pass-mismatch'] })
  })

  it('lays a label on each lane while it is being set up', () => {
    const laid = spots.filter(
      ({ frame, label }) => frame.frame < setupFramesAgain && expectedAgain(frame, label).decision === 'lay',
    )
    expect(new Set(laid.map(({ label }) => label.cell))).toEqual(new Set([1, 2]))
  })
})
