// Roll lengths and diameters against the values of the label trade (STANDARDS, "Label trade": R, worked out outside of this project).
import { describe, expect, it } from 'vitest'
import { rollDiameterMm, rollLengthM } from '../../src/lines/sums/winding.ts'

describe('a roll', () => {
  it.each([
    { diameterMm: 300, coreOuterMm: 76, thicknessMm: 0.15, lengthM: '440.996' },
    { diameterMm: 400, coreOuterMm: 76, thicknessMm: 0.09, lengthM: '1345.858' },
  ])('of $diameterMm mm on $coreOuterMm mm at $thicknessMm mm holds $lengthM m', ({ lengthM, ...roll }) => {
    expect(rollLengthM(roll).toFixed(3)).toBe(lengthM)
    expect(rollDiameterMm({ ...roll, lengthM: rollLengthM(roll) })).toBeCloseTo(roll.diameterMm, 9)
  })

  it('of 1,000 m at 0.150 mm on 76 mm is 443.579 mm wide', () => {
    expect(rollDiameterMm({ lengthM: 1_000, coreOuterMm: 76, thicknessMm: 0.15 }).toFixed(3)).toBe('443.579')
  })
})
