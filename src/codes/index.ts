// The door of `codes`: from pictures to reads, and from texts to what they name.
export {
  type Assignment,
  assignToCells,
  type ReadConflict,
} from './assign.ts'
export {
  type CaptureOutcome,
  type CaptureTask,
  type PictureOutcome,
  type PictureTask,
  readCapture,
  readPicture,
} from './capture.ts'
export type { Camera, FrameOfCodes, View } from './code-places.ts'
export type { FoundCode, PointPx } from './found-code.ts'
export type { BoxPx, GrayPicture } from './gray.ts'
export { decodeGray } from './pictures.ts'
export { type CodeReader, openReader, type ReadRequest, readableSymbologies } from './reader.ts'
export type { CodeIdentity, Rule, SymbologyFit } from './rule.ts'
export { openScanner, type ScannerPath } from './scanner.ts'
export { symbologyFits } from './symbology.ts'
export { compileTemplate } from './template.ts'
