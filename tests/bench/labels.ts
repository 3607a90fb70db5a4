// The roll that benches run: frames of the demo's first package, four labels each, every serial once.
import { preserves } from '../../demo-jobs/quillgarth-preserves/orders.ts'
import { webFrame } from '../../demo-jobs/quillgarth-preserves/web.ts'
import type { FrameEvent } from '../../src/runs/index.ts'

/** Frames of a batch. */
export const batchFrames = 32

export const cellCount = webFrame.cells.length
export const lanes = webFrame.cells.map(({ lane }) => lane)

/** All of them fit print version 01. */
const designs = preserves.packages[0]?.versions.map(({ design }) => design) ?? []

/** The template's serials have six digits. */
const serialMax = 999_999

interface Label {
  readonly frame: number
  readonly cell: number
  /** Added to the serial: runs of one job must not carry the same ones. */
  readonly serialsFrom?: number
}

export function labelText({ frame, cell, serialsFrom = 0 }: Label): string {
  const design = designs[(frame >> 3) % designs.length] ?? ''
  const serial = serialsFrom + frame * cellCount + cell
  if (serial > serialMax) throw new RangeError(`serial ${serial} has more than six digits`)
  return `${preserves.job}/${design}/01/${String(serial).padStart(6, '0')}`
}

/** Frame `frame` as a controller with a code sensor in each lane reports it. */
export function frameEvent(frame: number, serialsFrom = 0): FrameEvent {
  const reads = webFrame.cells.map(({ cell }) => ({
    cell,
    text: labelText({ frame, cell, serialsFrom }),
    symbology: ']Q1',
    quality: 0.75,
  }))
  return { frame, positionMm: frame * webFrame.pitchMm, reads }
}

const noReadEvery = 97

/** The same, but now and then a label is not read: never near the number that asks for a stop. */
export function wornFrameEvent(frame: number): FrameEvent {
  const event = frameEvent(frame)
  const reads = event.reads.map((read, i) =>
    (frame * cellCount + i) % noReadEvery === 0 && frame > 0 ? { cell: i + 1, text: null } : read,
  )
  return { ...event, reads }
}

export const framesFrom = <T>({ first, count }: { first: number; count: number }, eventOf: (frame: number) => T): T[] =>
  Array.from({ length: count }, (_, i) => eventOf(first + i))
