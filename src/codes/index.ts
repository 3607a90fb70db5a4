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
export { explainGs1, type Gs1Explanation } from './gs1/explain.ts'
export type { Gs1Fault } from './gs1/fault.ts'
export { compileGs1 } from './gs1/gs1-rule.ts'
export type { Gs1Element } from './gs1/message.ts'
export { type Gs1Reading, readGs1 } from './gs1/read.ts'
export { type RollDimensions, rollFrom8001 } from './gs1/roll.ts'
export { openReader, readableSymbologies } from './reader.ts'
export type { Rule } from './rule.ts'
export { openScanner, type ScannerPath } from './scanner.ts'
export { symbologyFits } from './symbology.ts'
export { type BuildOutcome, type BuildProgress, buildCodeIndex } from './table/build.ts'
export type { CodeIndex } from './table/code-index.ts'
export { readColumns } from './table/csv-header.ts'
export type { Scan } from './table/csv-scan.ts'
export { openCsv } from './table/csv-text.ts'
export { openCodeIndex } from './table/open.ts'
export { cellOf } from './table/row-check.ts'
export { faultText, isSound, whyUnsound } from './table/row-faults.ts'
export { openSerialSet, restoreSerials, type SerialSet } from './table/serial-set.ts'
export { excerpt, type FindingText, openFindings, type TableFindings } from './table/table-findings.ts'
export { tableRule } from './table/table-rule.ts'
export { compileTemplate } from './template.ts'
export { type FileBytes, readTiffDirectory, type TiffDirectory } from './tiff-directory.ts'
export { templateWriter, writeGs1 } from './write-code.ts'
