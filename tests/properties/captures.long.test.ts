// Every capture of the demo's rolls: planted codes can't be read after any mending, all others can.
import { expect, it } from 'vitest'
import { printedCodes } from '../../demo-jobs/capture-sheet.ts'
import { demoScenarios } from '../../demo-jobs/scenarios.ts'
import { codeAt, codesOf, textsAfterMending } from '../capture-reading.ts'

it.each(demoScenarios)(
  'shows every code of the roll of $name but those planted as unreadable',
  { timeout: 600_000 },
  async (scenario) => {
    const wrong: string[] = []
    for (const frame of scenario.roll) {
      const jpeg = await scenario.draw(frame)
      const codes = await codesOf(scenario, jpeg)
      for (const { spot, label } of printedCodes(scenario.job.frame, frame)) {
        const unreadable = label.look === 'smudged' || label.look === 'glared'
        const texts = unreadable ? await textsAfterMending(scenario, { jpeg, spot }) : []
        const code = codeAt(spot, codes)
        const asPlanted = unreadable ? texts.length === 0 && !code : code?.text === label.text
        const quality = unreadable || (code?.unused ?? 0) < 0.25 === (label.look === 'worn')
        if (!asPlanted || !quality)
          wrong.push(`frame ${frame.frame} cell ${label.cell} ${label.look}: ${code?.text} ${texts}`)
      }
    }
    expect(wrong).toEqual([])
  },
)
