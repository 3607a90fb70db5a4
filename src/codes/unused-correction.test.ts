// Unused error correction from the decoder's words. Check codewords d and p of QR version 1: a public table after ISO/IEC 18004.
import { describe, expect, it } from 'vitest'
import { unusedCorrection } from './unused-correction.ts'

describe('unused error correction', () => {
  it('is what the decoder says, beyond QR version 1', () => {
    expect(unusedCorrection('{"UEC":0.62,"Version":"2","ECLevel":"M"}')).toBe(0.62)
    expect(unusedCorrection('{"UEC":1.0,"Version":"10x10"}')).toBe(1)
  })

  it.each([
    ['M', 0.8, 0.75],
    ['M', 0.19, 0],
    ['L', 0.71, 0.5],
    ['H', 0.88, 0.875],
    ['H', 0.05, 0],
  ])('of version 1-%s stated as %d is %d', (level, stated, unused) => {
    expect(unusedCorrection(JSON.stringify({ UEC: stated, Version: '1', ECLevel: level }))).toBeCloseTo(unused, 10)
  })

  it.each([
    ['L', 0.14],
    ['M', 0],
    ['Q', 0],
  ])('of version 1-%s stated as %d is overdrawn', (level, stated) => {
    expect(unusedCorrection(JSON.stringify({ UEC: stated, Version: '1', ECLevel: level }))).toBe('overdrawn')
  })

  it.each(['', '{}', '{"UEC":"much"}', '{"UEC":7}'])('is none in %j', (extra) => {
    expect(unusedCorrection(extra)).toBe('none')
  })
})
