// What the tickets state against what came, in words.
import { describe, expect, it } from 'vitest'
import { statedTexts } from './stated.ts'

const texts = (labels: number, seen: number, missing: number, difference: number) =>
  statedTexts({ labels, missing, difference }, { seen })

describe('what the tickets state', () => {
  it('asks for missing frames or another count where labels are short', () => {
    const { text, mend } = texts(92, 80, 0, 12)
    expect(text).toBe('Stated by ticket: 92 labels. In: 80; 12 less than stated.')
    expect(mend).toMatch(/^To mend that: record the frames that are missing .* or correct expectedFrames/)
  })

  it('asks for another count alone where more came, since nothing can be missing then', () => {
    const { text, mend } = texts(80, 92, 0, -12)
    expect(text).toBe('Stated by ticket: 80 labels. In: 92; 12 more than stated.')
    expect(mend).toBe('To mend that: correct expectedFrames: the ticket states too few.')
  })

  it('asks for nothing where what is short was recorded as missing', () => {
    expect(texts(92, 80, 12, 0)).toEqual({
      text: 'Stated by ticket: 92 labels. In: 80, 12 recorded as missing before the sensor; no difference.',
    })
  })
})
