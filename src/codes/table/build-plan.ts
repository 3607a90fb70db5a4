// How a build shares out its memory, from the length of the table's file.
import { spilledWordsMax } from './spill-rows.ts'

export interface BuildPlan {
  /** Parts of the spill, a power of two. */
  readonly parts: number
  /** Buffer of one part, words. */
  readonly bufferWords: number
  /** Room for the rows of one part, words. */
  readonly partWords: number
}

export const memoryBytesMaxDefault = 256 * 1024 * 1024
export const memoryBytesMaxLeast = 4 * 1024 * 1024
/** Buckets come in this many, so that no bucket lies in two parts. */
export const partsMax = 4_096

/** Spilled bytes a byte of the table: about 1 for codes of 24 characters; the shortest rows (`A,B`) come to 5. */
const spilledRatio = 2
const spilledRatioMost = 6
const bufferWordsLeast = 512
const bufferWordsMost = 32 * 1024

/** A quarter of the memory holds the rows of a part, which is expected to fill a quarter of that; an eighth is the parts' buffers. */
export function planBuild({ tableBytes, memoryBytesMax }: { tableBytes: number; memoryBytesMax: number }): BuildPlan {
  const wanted = (spilledRatio * tableBytes) / (memoryBytesMax / 16)
  const parts = Math.min(partsMax, 2 ** Math.max(0, Math.ceil(Math.log2(wanted))))
  const share = Math.floor(memoryBytesMax / 8 / 4 / parts)
  const whole = Math.ceil((spilledRatioMost * tableBytes) / 4) + spilledWordsMax
  return {
    parts,
    bufferWords: Math.min(bufferWordsMost, Math.max(bufferWordsLeast, share)),
    partWords: Math.min(whole, Math.floor(memoryBytesMax / 4 / 4)),
  }
}
