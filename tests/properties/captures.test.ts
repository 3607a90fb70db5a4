// Drawn captures of the demo's roll, one frame of every kind; `captures.long.test.ts` reads them all.

import sharp from 'sharp'
import { describe, expect, it } from 'vitest'
import { captureName, drawCapture } from '../../demo-jobs/draw-captures.ts'
import { frameAt, roll } from '../../demo-jobs/scenario.ts'
import { codeOf, codesOf, textsAfterMending } from '../capture-reading.ts'

// set-up faint, smudged, worn, glared, faint, splice above and below, unfit print, other job, backed up, wet smear
const frames = [3, 24, 30, 36, 44, 65, 66, 80, 108, 204, 222]

describe('a capture', () => {
  it.each(frames)('of frame %i shows each code that is not planted as unreadable', async (frame) => {
    const jpeg = await drawCapture(frameAt(frame))
    const codes = await codesOf(jpeg)
    for (const label of frameAt(frame).labels) {
      const code = codeOf(label, codes)
      if (label.look === 'smudged' || label.look === 'glared') {
        expect(code).toBeUndefined()
        expect(await textsAfterMending(jpeg, label.cell)).toEqual([])
        continue
      }
      expect(code?.text).toBe(label.text)
      if (label.look === 'worn') expect(code?.unused).toBeLessThan(0.25)
      else expect(code?.unused).toBeGreaterThan(0.6)
    }
  })

  it('is a gray JPEG of a whole frame under 600 kB, the same on every call', async () => {
    const [first, second] = [await drawCapture(frameAt(12)), await drawCapture(frameAt(12))]
    expect(first.equals(second)).toBe(true)
    expect(await sharp(first).metadata()).toMatchObject({ format: 'jpeg', width: 2200, height: 600, channels: 1 })
    expect(first.length).toBeLessThan(600_000)
  })

  it('has a name of its own, with frame and position', () => {
    expect(captureName(frameAt(12))).toBe(`000012_${frameAt(12).positionUm}.jpg`)
    expect(new Set(roll.map(captureName)).size).toBe(roll.length)
  })
})
