// One picture from bytes to reads: the work of a reading thread.

import { type Digest, sha256Hex } from '../kernel/bytes.ts'
import type { Clock } from '../kernel/clock.ts'
import type { Read, SymbologyName } from '../kernel/terms.ts'
import { assignToCells, type ReadConflict, tolerance } from './assign.ts'
import { type CodePlace, codePlaces, type View } from './code-places.ts'
import type { FoundCode } from './found-code.ts'
import { decodeGray, readPictureFile } from './pictures.ts'
import { type CodeReader, readableSymbologies } from './reader.ts'

/** Reads the labels of a frame's picture. */
export interface CaptureTask extends View {
  readonly kind: 'capture'
  readonly path: string
  /** Those of all jobs that the roll may carry. */
  readonly symbologies: readonly SymbologyName[]
}

export interface CaptureOutcome {
  /** SHA-256 of the bytes that were read. */
  readonly capture: Digest
  readonly reads: readonly Read[]
  readonly conflicts: readonly ReadConflict[]
  readonly shiftMm: { readonly across: number; readonly along: number }
  readonly turnDeg: number
  readonly ms: { readonly decode: number; readonly read: number }
}

/** Reads whatever codes a picture holds. */
export interface PictureTask {
  readonly kind: 'picture'
  readonly path: string
  /** Default: all that can be read. */
  readonly symbologies?: readonly SymbologyName[]
}

export interface PictureOutcome {
  readonly capture: Digest
  readonly widthPx: number
  readonly heightPx: number
  readonly codes: readonly FoundCode[]
  readonly ms: { readonly decode: number; readonly read: number }
}

interface Tools {
  readonly reader: CodeReader
  readonly clock: Clock
}

/** Problems as in `decodeGray`. */
export async function readCapture(task: CaptureTask, { reader, clock }: Tools): Promise<CaptureOutcome> {
  const startMs = clock.monotonicMs()
  const bytes = await readPictureFile(task.path)
  const picture = await decodeGray({ bytes, file: task.path })
  const decodedMs = clock.monotonicMs()
  const places = codePlaces(task)
  const found = await reader.read(picture, {
    symbologies: task.symbologies,
    symbolsMax: places.length * 2,
    places: places.map(({ box }) => box),
    marginPx: marginPx(places, task),
  })
  const assignment = assignToCells({ found, view: task })
  const ms = { decode: decodedMs - startMs, read: clock.monotonicMs() - decodedMs }
  return { capture: sha256Hex(bytes), ...assignment, ms }
}

/** Problems as in `decodeGray`. */
export async function readPicture(task: PictureTask, { reader, clock }: Tools): Promise<PictureOutcome> {
  const startMs = clock.monotonicMs()
  const bytes = await readPictureFile(task.path)
  const picture = await decodeGray({ bytes, file: task.path })
  const decodedMs = clock.monotonicMs()
  const codes = await reader.read(picture, { symbologies: task.symbologies ?? readableSymbologies, symbolsMax: 255 })
  const ms = { decode: decodedMs - startMs, read: clock.monotonicMs() - decodedMs }
  return { capture: sha256Hex(bytes), widthPx: picture.width, heightPx: picture.height, codes, ms }
}

/** How far a code may stand off its place: the tolerated shift, and the tolerated turn at the place farthest from the middle. */
function marginPx(places: readonly CodePlace[], { camera }: View): number {
  const centres = places.map(({ box }) => ({ x: box.left + box.width / 2, y: box.top + box.height / 2 }))
  const middle = {
    x: centres.reduce((sum, { x }) => sum + x, 0) / centres.length,
    y: centres.reduce((sum, { y }) => sum + y, 0) / centres.length,
  }
  const farthest = Math.max(...centres.map(({ x, y }) => Math.hypot(x - middle.x, y - middle.y)))
  return tolerance.shiftMm * camera.pxPerMm + farthest * Math.sin((tolerance.turnDeg * Math.PI) / 180)
}
