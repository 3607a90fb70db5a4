// The door of `codes`: from pictures to reads, and from texts to what they name.
export {
  type CaptureOutcome,
  type CaptureTask,
  type PictureOutcome,
  type PictureTask,
  readCapture,
  readPicture,
} from './capture.ts'
export type { FoundCode } from './found-code.ts'
export { openReader, readableSymbologies } from './reader.ts'
export type { Rule } from './rule.ts'
export { openScanner, type ScannerPath } from './scanner.ts'
export { symbologyFits } from './symbology.ts'
export { compileTemplate } from './template.ts'
