// Every capture of the demo's roll: planted codes can't be read after any mending, all others can.
import { expect, it } from 'vitest'
import { drawCapture } from '../../demo-jobs/draw-captures.ts'
import { roll } from '../../demo-jobs/scenario.ts'
import { codeOf, codesOf, textsAfterMending } from '../capture-reading.ts'

it('shows every code of the roll but those planted as unreadable', { timeout: 600_000 }, async () => {
  const wrong: string[] = []
  for (const frame of roll) {
    const jpeg = await drawCapture(frame)
    const codes = await codesOf(jpeg)
    for (const label of frame.labels) {
      const unreadable = label.look === 'smudged' || label.look === 'glared'
      const texts = unreadable ? await textsAfterMending(jpeg, label.cell) : []
      const code = codeOf(label, codes)
      const asPlanted = unreadable ? texts.length === 0 && !code : code?.text === label.text
      const quality = unreadable || (code?.unused ?? 0) < 0.25 === (label.look === 'worn')
      if (!asPlanted || !quality)
        wrong.push(`frame ${frame.frame} cell ${label.cell} ${label.look}: ${code?.text} ${texts}`)
    }
  }
  expect(wrong).toEqual([])
})
