// A demo's roll: frame after frame what the press printed, with splice, backed-up web and planted troubles in it. The same on every
// call and every machine.
import { openPlants, type Plant, type PlantKind } from './plants.ts'
import { seeded } from './random.ts'
import type { DemoFrame } from './web.ts'

/** How a code looks to the camera. */
export type CodeLook = 'clean' | 'faint' | 'worn' | 'smudged' | 'glared'

/** What a label is, as its code names it. */
export interface PrintedLabel {
  readonly job: string
  readonly design: string
  readonly print: string
  readonly serial: string
}

export interface ScenarioLabel extends PrintedLabel {
  /** From 1. */
  readonly cell: number
  /** What the code says that stands for this label: its own, or that of its frame. */
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

/** The roll was spliced in the gap before a frame; so many printed frames are missing, and the marks' phase shifts. */
export interface Splice {
  readonly beforeFrame: number
  readonly framesCutOut: number
  readonly phaseShiftUm: number
}

/** After a frame was triggered the web was backed up by so many pitches, and ran on from there. */
export interface BackUp {
  readonly afterFrame: number
  readonly pitches: number
}

/** The press printed the records of frame `of` again on frame `frame`, in these cells. */
export interface Repeat {
  readonly frame: number
  readonly of: number
  readonly cells: readonly number[]
}

export interface RollPlan {
  readonly web: DemoFrame
  readonly frameCount: number
  /** Frames at the roll's start that are made while the line is being set. */
  readonly setupFrames: number
  readonly plants: readonly Plant[]
  readonly splice?: Splice
  readonly backUp: BackUp
  readonly repeat: Repeat
  readonly firstPositionUm: number
  readonly seed: number
  /** What the press had in turn for a cell of a printed frame, counted from 0. */
  readonly record: (printed: number, cell: number) => PrintedLabel
  /** The text of a label's code; `plant` says how it is spoiled, if it is. */
  readonly textOf: (label: PrintedLabel, plant: PlantKind | undefined) => string
}

type Run = Pick<RollPlan, 'frameCount' | 'setupFrames' | 'splice' | 'backUp'>

/** Frames that the press printed for the roll, set-up aside. */
export const framesPrinted = ({ frameCount, setupFrames, splice, backUp }: Run): number =>
  frameCount - backUp.pitches - setupFrames + (splice?.framesCutOut ?? 0)

/** Designs as a press prints them cut-and-stack: for each stack blocks of 5 to 16, never twice the same in a row. */
export function cutAndStack({
  stacks,
  length,
  seed,
}: {
  /** The designs that may lie in each stack. */
  stacks: readonly (readonly string[])[]
  length: number
  seed: number
}): readonly (readonly string[])[] {
  const random = seeded(seed)
  return stacks.map((mixed) => {
    const designs: string[] = []
    while (designs.length < length) {
      const others = mixed.filter((design) => design !== designs.at(-1))
      const design = others[Math.floor(random() * others.length)] ?? ''
      const block = 5 + Math.floor(random() * 12)
      for (let count = 0; count < block; count++) designs.push(design)
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

const placeOf = ({ backUp }: RollPlan, frame: number): number =>
  frame > backUp.afterFrame ? frame - backUp.pitches : frame

// The press ran its first record over and over while it was being set; at the splice, frames are missing.
function printedFrameOf({ setupFrames, splice }: RollPlan, place: number): number {
  if (place < setupFrames) return 0
  return place - setupFrames + (splice && place >= splice.beforeFrame ? splice.framesCutOut : 0)
}

function labelAt(
  plan: RollPlan,
  { frame, cell }: { frame: number; cell: number },
  plant: Plant | undefined,
): ScenarioLabel {
  const { repeat } = plan
  const source = frame === repeat.frame && repeat.cells.includes(cell) ? repeat.of : frame
  const record = plan.record(printedFrameOf(plan, placeOf(plan, source)), cell)
  const label = {
    job: plant?.job ?? record.job,
    design: plant?.design ?? record.design,
    print: plant?.print ?? record.print,
    serial: record.serial,
  }
  return {
    cell,
    ...label,
    text: plan.textOf(label, plant?.kind),
    look: (plant && looks[plant.kind]) ?? 'clean',
    ...(plant ? { plant: plant.kind } : {}),
  }
}

/** Marks drift a little from frame to frame, and the web stretches by some µm between two sightings. */
function positionOf(plan: RollPlan, frame: number, random: () => number): number {
  const { splice, firstPositionUm, web } = plan
  const place = placeOf(plan, frame)
  const shift = splice && place >= splice.beforeFrame ? splice.phaseShiftUm : 0
  const atUm = firstPositionUm + place * web.pitchMm * 1_000 + shift
  return Math.round(atUm + 60 * Math.sin(place / 23) + (random() - 0.5) * 120)
}

/** Every frame of the roll in the order of triggers, the backed-up ones twice. */
export function drawRoll(plan: RollPlan): readonly ScenarioFrame[] {
  const plantAt = openPlants(plan.plants)
  const random = seeded(plan.seed)
  return Array.from({ length: plan.frameCount }, (_, frame): ScenarioFrame => {
    const before = plan.splice?.beforeFrame
    const tape = frame === before ? 'upper' : before !== undefined && frame === before - 1 ? 'lower' : undefined
    return {
      frame,
      place: placeOf(plan, frame),
      positionUm: positionOf(plan, frame, random),
      setup: frame < plan.setupFrames,
      ...(tape ? { tape } : {}),
      labels: plan.web.cells.map(({ cell }) => labelAt(plan, { frame, cell }, plantAt(frame, cell))),
    }
  })
}
