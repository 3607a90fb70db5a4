// Faults of image files, and what a reader of image headers takes and gives.
import type { Finding, ProblemCode } from '../kernel/problem.ts'

export interface ImageHeader {
  readonly format: 'png' | 'tiff'
  readonly widthPx: number
  readonly heightPx: number
  readonly bits: number
}

/** A fault of an image; it becomes a finding once file and pointer are known. */
export type ImageFault = Pick<Finding, 'code' | 'message' | 'measured' | 'limit'>

export const imageFault = (
  code: ProblemCode,
  message: string,
  sizes: Pick<Finding, 'measured' | 'limit'> = {},
): ImageFault => ({ code, message, ...sizes })

export interface HeaderReading {
  /** Absent where the file could not be understood so far. */
  readonly header?: ImageHeader
  readonly faults: readonly ImageFault[]
}
