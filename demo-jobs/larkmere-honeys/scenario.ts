// Job 4: two lanes of honeys with a QR code a label. The roll runs twice: foil, then, rewound, varnish.
import { join } from 'node:path'
import { demoFolder } from '../folders.ts'
import { cutAndStack, framesPrinted, type PrintedLabel, type RollPlan } from '../roll.ts'
import { openScenario } from '../scenario.ts'
import { qrModules } from '../symbols.ts'
import { honeyJob } from './orders.ts'
import { backUp, plants, repeat, setupFrames } from './plants.ts'
import { webFrame } from './web.ts'

const run = { frameCount: 48, setupFrames, backUp } as const
const printed = framesPrinted(run)
const mixed = honeyJob.designs.map(({ design }) => design)
const stacks = cutAndStack({ stacks: webFrame.cells.map(() => mixed), length: printed, seed: 2617 })

/** Serial numbers run through the printed frames lane after lane. */
const record = (frame: number, cell: number): PrintedLabel => ({
  job: honeyJob.job,
  design: stacks[cell - 1]?.[frame] ?? '',
  print: '01',
  serial: String((cell - 1) * printed + frame + 1).padStart(6, '0'),
})

const plan: RollPlan = {
  ...run,
  web: webFrame,
  plants,
  repeat,
  firstPositionUm: 410_000,
  seed: 17,
  record,
  textOf({ job, design, print, serial }, plant) {
    return `${job}/${design}/${print}/${plant === 'garbled-code' ? serial.slice(1) : serial}`
  },
}

export const honeysScenario = openScenario({
  name: honeyJob.folder,
  jobs: [honeyJob],
  plan,
  neverReleased: [],
  escalations: [],
  mended: {
    ticket: join(demoFolder, honeyJob.folder, 'ticket-threaded.json'),
    how: 'puts a reel of gold-satin on the foil shaft and notes it on the ticket',
  },
  wound: [
    {
      event: 'cut-out',
      positionMm: plan.firstPositionUm / 1_000 + 1,
      toPositionMm: plan.firstPositionUm / 1_000 + setupFrames * webFrame.pitchMm - 1,
      note: 'the set-up labels are waste',
    },
    { event: 'rewind', roll: 'LM2617-R1', note: 'for the second pass' },
  ],
  captureSeed: 600_000,
  symbolOf: ({ text, serial }) => qrModules(text, { version: 2, level: 'Q', mask: Number(serial) % 8 }),
})
