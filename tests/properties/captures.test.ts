// Drawn captures of the demo's rolls, frames of every kind; `captures.long.test.ts` reads them all.
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import sharp from 'sharp'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { printedCodes } from '../../demo-jobs/capture-sheet.ts'
import { captureName, writeCapture } from '../../demo-jobs/draw-captures.ts'
import { frameAt, type Scenario } from '../../demo-jobs/scenario.ts'
import { ginsScenario, preservesScenario, yoghurtsScenario } from '../../demo-jobs/scenarios.ts'
import { camera } from '../../demo-jobs/web.ts'
import { type CaptureTask, openReader, readCapture } from '../../src/codes/index.ts'
import { systemClock } from '../../src/kernel/clock.ts'
import { codeAt, codesOf, textsAfterMending } from '../capture-reading.ts'

interface Sample {
  readonly scenario: Scenario
  readonly frames: readonly number[]
  readonly sizePx: { readonly width: number; readonly height: number }
}

const samples: readonly Sample[] = [
  // set-up faint, smudged, worn, glared, faint, splice above and below, unfit print, other job, backed up, wet smear
  {
    scenario: preservesScenario,
    frames: [3, 24, 30, 36, 44, 65, 66, 80, 108, 204, 222],
    sizePx: { width: 2200, height: 600 },
  },
  // set-up faint, smudged and glared on each lane, other job, splice above and below, unfit print, second look
  {
    scenario: ginsScenario,
    frames: [2, 7, 12, 13, 15, 16, 19, 22, 30, 34, 44, 48],
    sizePx: { width: 1600, height: 1000 },
  },
  // set-up faint, smudged, wrong check digit, glared, other job, missing key, backed up
  { scenario: yoghurtsScenario, frames: [1, 10, 13, 17, 20, 28, 44], sizePx: { width: 1420, height: 800 } },
]
const shown = samples.flatMap(({ scenario, frames }) =>
  frames.map((frame) => ({ scenario, frame, name: scenario.name })),
)

let folder: string
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-captures-'))
})
afterAll(() => rm(folder, { recursive: true }))

describe('a capture', () => {
  it.each(shown)('of $name, frame $frame, shows each code that is not planted as unreadable', async (one) => {
    const { scenario } = one
    const frame = frameAt(scenario, one.frame)
    const jpeg = await scenario.draw(frame)
    const codes = await codesOf(scenario, jpeg)
    for (const { spot, label } of printedCodes(scenario.job.frame, frame)) {
      const code = codeAt(spot, codes)
      if (label.look === 'smudged' || label.look === 'glared') {
        expect(code).toBeUndefined()
        expect(await textsAfterMending(scenario, { jpeg, spot })).toEqual([])
        continue
      }
      expect(code?.text).toBe(label.text)
      if (label.look === 'worn') expect(code?.unused).toBeLessThan(0.25)
      else expect(code?.unused).toBeGreaterThan(0.6)
    }
  })

  it.each(samples)(
    'of $scenario.name is read to the texts of its own cells, and to nothing where it is spoiled',
    async ({ scenario, frames }) => {
      const { frame: web, code } = scenario.job
      const reader = await openReader()
      for (const frame of frames.map((number) => frameAt(scenario, number))) {
        const path = await writeCapture(scenario, frame, folder)
        const symbologies = code.symbologies as CaptureTask['symbologies']
        const task = { kind: 'capture', path, symbologies, frame: web, camera } as const
        const { reads, conflicts } = await readCapture(task, { reader, clock: systemClock })
        expect(conflicts).toEqual([])
        const wanted = printedCodes(web, frame).map(({ spot, label }) => ({
          ...(spot.cell ? { cell: spot.cell.cell } : {}),
          text: label.look === 'smudged' || label.look === 'glared' ? undefined : label.text,
        }))
        expect(reads.map(({ cell, text }) => ({ ...(cell === undefined ? {} : { cell }), text }))).toEqual(wanted)
      }
    },
  )

  it.each(samples)(
    'of $scenario.name is a gray JPEG of a whole frame under 600 kB, the same on every call',
    async ({ scenario, sizePx }) => {
      const frame = frameAt(scenario, 11)
      const [first, second] = [await scenario.draw(frame), await scenario.draw(frame)]
      expect(first.equals(second)).toBe(true)
      expect(await sharp(first).metadata()).toMatchObject({ format: 'jpeg', ...sizePx, channels: 1 })
      expect(first.length).toBeLessThan(600_000)
    },
  )

  it.each(samples)('of $scenario.name has a name of its own, with frame and position', ({ scenario }) => {
    expect(captureName(frameAt(scenario, 12))).toBe(`000012_${frameAt(scenario, 12).positionUm}.jpg`)
    expect(new Set(scenario.roll.map(captureName)).size).toBe(scenario.roll.length)
  })
})
