// The gins' roll: 56 frames of six labels, every one with a code of its own.
import { cutAndStack, framesPrinted, type PrintedLabel, type RollPlan } from '../roll.ts'
import { drawCodes, oneOff } from './codes.ts'
import { designsFor, ginsJob, winterJob } from './designs.ts'
import { backUp, plants, repeat, setupFrames, splice } from './plants.ts'
import { webFrame } from './web.ts'

const run = { frameCount: 56, setupFrames, splice, backUp } as const
const printed = framesPrinted(run)
const stacks = cutAndStack({
  stacks: webFrame.cells.map(({ cell }) => designsFor(cell)),
  length: printed,
  seed: 2611,
})

/** The code of each serial number, from 1, of the whole campaign: this roll's, and those of rolls still to be printed. */
export const ginCodes = drawCodes(4_800, 26_110)
export const winterCodes = drawCodes(60, 25_900)
/** Codes of the same form that stand in nobody's table. */
const strayCodes = drawCodes(60, 66)

export const serialText = (serial: number): string => String(serial).padStart(6, '0')

/** Serial numbers run through the printed frames cell after cell. */
const record = (frame: number, cell: number): PrintedLabel => ({
  job: ginsJob,
  design: stacks[cell - 1]?.[frame] ?? '',
  print: '01',
  serial: serialText((cell - 1) * printed + frame + 1),
})

const nth = (codes: readonly string[], serial: string): string => codes[(Number(serial) - 1) % codes.length] ?? ''

export const plan: RollPlan = {
  ...run,
  web: webFrame,
  plants,
  repeat,
  firstPositionUm: 4_100_000,
  seed: 11,
  record,
  textOf({ job, serial }, plant) {
    if (job === winterJob) return nth(winterCodes, serial)
    if (plant === 'not-in-table') return nth(strayCodes, serial)
    const code = nth(ginCodes, serial)
    return plant === 'one-character-off' ? oneOff(code, Number(serial) % code.length) : code
  },
}
