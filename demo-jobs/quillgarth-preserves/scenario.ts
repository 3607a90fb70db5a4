// Job 1: four lanes of preserves with a QR code a label that a template describes, about 240 frames printed cut-and-stack.
import { join } from 'node:path'
import { demoFolder } from '../folders.ts'
import { cutAndStack, framesPrinted, type PrintedLabel, type RollPlan } from '../roll.ts'
import { openScenario } from '../scenario.ts'
import { preserves, teas } from './orders.ts'
import { backUp, damage, neverReleased, plants, repeat, setupFrames, splice, wetSmear, withdrawal } from './plants.ts'
import { spoiledFaults } from './spoiled-package.ts'
import { webFrame } from './web.ts'
import { preservesCode, wear } from './worn-code.ts'

const run = { frameCount: 240, setupFrames, splice, backUp } as const
const printed = framesPrinted(run)

// Designs that have a section of their own stay out of the mix.
const sectionDesigns: readonly string[] = [neverReleased.design, damage.design, withdrawal.design]
const mixed = preserves.designs.map(({ design }) => design).filter((design) => !sectionDesigns.includes(design))
const stacks = cutAndStack({ stacks: webFrame.cells.map(() => mixed), length: printed, seed: 2608 })

/** Serial numbers run through the printed frames lane after lane. */
const record = (frame: number, cell: number): PrintedLabel => ({
  job: preserves.job,
  design: stacks[cell - 1]?.[frame] ?? '',
  print: '02',
  serial: String((cell - 1) * printed + frame + 1).padStart(6, '0'),
})

const plan: RollPlan = {
  ...run,
  web: webFrame,
  plants,
  repeat,
  firstPositionUm: 1_250_000,
  seed: 4,
  record,
  textOf({ job, design, print, serial }, plant) {
    return `${job}/${design}/${print}/${plant === 'garbled-code' ? serial.slice(1) : serial}`
  },
}

export const preservesScenario = openScenario({
  name: preserves.folder,
  jobs: [preserves, teas],
  plan,
  neverReleased: [neverReleased],
  escalations: [wetSmear.escalates],
  withdrawal,
  damage,
  spoiled: { source: join(demoFolder, preserves.folder, 'package-4-spoiled'), faults: spoiledFaults },
  captureSeed: 0,
  symbolOf(label) {
    const clean = preservesCode(label.text, Number(label.serial) % 8)
    return label.look === 'worn' ? wear(clean, Number(label.serial)) : clean
  },
})
