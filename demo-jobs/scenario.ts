// The demo's roll: about 240 frames of four labels, printed cut-and-stack, with the troubles of `plants.ts` in them. The same on
// every call and every machine.
import { preserves } from './orders.ts'
import {
  backUp,
  damage,
  neverReleased,
  type Plant,
  type PlantKind,
  plantAt,
  repeat,
  setupFrames,
  splice,
  withdrawal,
} from './plants.ts'
import { seeded } from './random.ts'
import { webFrame } from './web.ts'

/** How a code looks to the camera. */
export type CodeLook = 'clean' | 'faint' | 'worn' | 'smudged' | 'glared'

export interface ScenarioLabel {
  /** From 1; in this layout also the lane. */
  readonly cell: number
  readonly job: string
  readonly design: string
  readonly print: string
  readonly serial: string
  /** What the code says. */
  readonly text: string
  readonly look: CodeLook
  readonly plant?: PlantKind
}

export interface ScenarioFrame {
  /** Trigger ordinal, from 0. */
  readonly frame: number
  /** Count along the material, from 0. */
  readonly place: number
  /** Encoder position of the eye mark, µm. */
  readonly positionUm: number
  readonly setup: boolean
  /** Splicing tape lies over the upper or lower end of the frame. */
  readonly tape?: 'upper' | 'lower'
  readonly labels: readonly ScenarioLabel[]
}

const frameCount = 240
const laneCount = webFrame.cells.length
const firstPositionUm = 1_250_000
const pitchUm = webFrame.pitchMm * 1_000
const printNow = '02'

/** Frames the press printed for this roll, set-up aside; serial numbers run through them lane after lane. */
const framesPrinted = frameCount - backUp.pitches - setupFrames + splice.framesCutOut

// Designs that have a section of their own stay out of the mix.
const sectionDesigns: readonly string[] = [neverReleased.design, damage.design, withdrawal.design]
const mixed = preserves.designs.map(({ design }) => design).filter((design) => !sectionDesigns.includes(design))

/** For each lane, the design of every printed frame: blocks of 5 to 16, never twice the same in a row. */
function cutAndStack(): readonly (readonly string[])[] {
  const random = seeded(2608)
  return Array.from({ length: laneCount }, () => {
    const designs: string[] = []
    while (designs.length < framesPrinted) {
      const others = mixed.filter((design) => design !== designs.at(-1))
      const design = others[Math.floor(random() * others.length)] ?? ''
      const length = 5 + Math.floor(random() * 12)
      for (let count = 0; count < length; count++) designs.push(design)
    }
    return designs
  })
}

const looks: Partial<Record<PlantKind, CodeLook>> = {
  faint: 'faint',
  worn: 'worn',
  smudged: 'smudged',
  'wet-smear': 'smudged',
  glared: 'glared',
}

const placeOf = (frame: number): number => (frame > backUp.afterFrame ? frame - backUp.pitches : frame)

// The press ran its first record over and over while it was being set; at the splice, frames are missing.
function printedFrameOf(place: number): number {
  if (place < setupFrames) return 0
  return place - setupFrames + (place >= splice.beforeFrame ? splice.framesCutOut : 0)
}

const serialOf = (printed: number, cell: number): string =>
  String((cell - 1) * framesPrinted + printed + 1).padStart(6, '0')

function labelAt(frame: number, cell: number, stack: readonly (readonly string[])[]): ScenarioLabel {
  const plant = plantAt(frame, cell)
  const source = frame === repeat.frame ? repeat.of : frame
  const printed = printedFrameOf(placeOf(source))
  const job = plant?.job ?? preserves.job
  const design = plant?.design ?? stack[cell - 1]?.[printed] ?? ''
  const print = plant?.print ?? printNow
  const serial = serialOf(printed, cell)
  const inCode = plant?.kind === 'garbled-code' ? serial.slice(1) : serial
  return {
    cell,
    job,
    design,
    print,
    serial,
    text: `${job}/${design}/${print}/${inCode}`,
    look: lookOf(plant),
    ...(plant ? { plant: plant.kind } : {}),
  }
}

const lookOf = (plant: Plant | undefined): CodeLook => (plant && looks[plant.kind]) ?? 'clean'

/** Marks drift a little from frame to frame, and the web stretches by some µm between two sightings. */
function positionOf(frame: number, random: () => number): number {
  const place = placeOf(frame)
  const shift = place >= splice.beforeFrame ? splice.phaseShiftUm : 0
  return Math.round(firstPositionUm + place * pitchUm + shift + 60 * Math.sin(place / 23) + (random() - 0.5) * 120)
}

function drawRoll(): readonly ScenarioFrame[] {
  const stack = cutAndStack()
  const random = seeded(4)
  return Array.from({ length: frameCount }, (_, frame): ScenarioFrame => {
    const tape = frame === splice.beforeFrame ? 'upper' : frame === splice.beforeFrame - 1 ? 'lower' : undefined
    return {
      frame,
      place: placeOf(frame),
      positionUm: positionOf(frame, random),
      setup: frame < setupFrames,
      ...(tape ? { tape } : {}),
      labels: webFrame.cells.map(({ cell }) => labelAt(frame, cell, stack)),
    }
  })
}

/** Every frame of the roll in the order of triggers, the backed-up ones twice. */
export const roll: readonly ScenarioFrame[] = drawRoll()

export function frameAt(frame: number): ScenarioFrame {
  const found = roll[frame]
  if (!found) throw new RangeError(`the roll has no frame ${frame}`)
  return found
}

/** The splice as the controller would report it: where it lies, and what is missing there. */
export const spliceEvent = {
  event: 'splice',
  beforeFrame: splice.beforeFrame,
  positionUm: frameAt(splice.beforeFrame).positionUm - 3_000,
  frames: splice.framesCutOut,
} as const
