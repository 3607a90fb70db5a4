// Preserves, job 1 of the demo: codes that templates read back, and what its plants lead to in numbers.
import { describe, expect, it } from 'vitest'
import { preserves, teas } from '../../demo-jobs/quillgarth-preserves/orders.ts'
import { wetSmear } from '../../demo-jobs/quillgarth-preserves/plants.ts'
import { preservesScenario } from '../../demo-jobs/scenarios.ts'
import { compileTemplate } from '../../src/codes/index.ts'

const { roll, expected, revocable } = preservesScenario
const labels = roll.flatMap(({ frame, labels: inFrame }) => inFrame.map((label) => ({ frame, label })))

describe('preserves', () => {
  it('carry codes that their jobs’ rules read back, the garbled ones aside', () => {
    const rules = new Map(
      [preserves, teas].map(({ job, template }) => [job, compileTemplate(template, { job, symbologies: ['qr'] })]),
    )
    for (const { label } of labels) {
      const identity = rules.get(label.job)?.match(label.text)
      const { design, print, serial } = label
      expect(identity).toEqual(label.plant === 'garbled-code' ? undefined : { design, print, serial })
    }
  })

  it('fill 240 frames, with five causes to stop for, 14 answers to revoke and one smear that escalates', () => {
    const stops = labels.filter(({ frame, label }) => expected(frame, label.cell).decision === 'stop')
    expect(roll).toHaveLength(240)
    expect(stops).toHaveLength(6)
    expect(revocable).toHaveLength(14)
    expect(expected(wetSmear.escalates.frame, wetSmear.escalates.cell).flags).toEqual(['no-read'])
  })
})
