// Job 3: two lanes and two rows of yoghurt labels, and one QR code a frame with a GS1 Digital Link URI, printed on the matrix.
import { teas } from '../quillgarth-preserves/orders.ts'
import { cutAndStack, framesPrinted, type PrintedLabel, type RollPlan } from '../roll.ts'
import { openScenario } from '../scenario.ts'
import { qrModules } from '../symbols.ts'
import { items, neverReleased, yoghurts } from './orders.ts'
import { backUp, escalates, plants, repeat, setupFrames } from './plants.ts'
import { linkUri, withWrongCheckDigit } from './trade-numbers.ts'
import { codeVersion, webFrame } from './web.ts'

const run = { frameCount: 50, setupFrames, backUp } as const
const mixed = [items.cherry, items.plum, items.quince]
const [designs = []] = cutAndStack({ stacks: [mixed], length: framesPrinted(run), seed: 2614 })

/** All labels of a frame are alike, and share its serial number. */
const record = (frame: number): PrintedLabel => ({
  job: yoghurts.job,
  design: designs[frame] ?? '',
  print: '02',
  serial: String(frame + 1).padStart(6, '0'),
})

const plan: RollPlan = {
  ...run,
  web: webFrame,
  plants,
  repeat,
  firstPositionUm: 730_000,
  seed: 14,
  record,
  textOf({ job, design, print, serial }, plant) {
    if (job !== yoghurts.job) return `${job}/${design}/${print}/${serial}`
    if (plant === 'missing-key') return linkUri({ print, serial })
    return linkUri({ number: plant === 'wrong-check-digit' ? withWrongCheckDigit(design) : design, print, serial })
  },
}

export const yoghurtsScenario = openScenario({
  name: yoghurts.folder,
  jobs: [yoghurts, teas],
  plan,
  neverReleased: [neverReleased],
  escalations: [escalates],
  captureSeed: 400_000,
  symbolOf: ({ text, serial }) => qrModules(text, { version: codeVersion, level: 'M', mask: Number(serial) % 8 }),
  // Where the code names another job's label, the press printed yoghurt all the same.
  artOf: (label) =>
    label.job === yoghurts.job ? label : { job: yoghurts.job, design: items.quince, print: label.print },
})
