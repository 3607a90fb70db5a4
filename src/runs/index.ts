// The door of runs: a run put together, its registry, captures, reports and traces.

export { watchCaptures } from './capture-folder.ts'
export { type Captures, captureMediaTypes, openCaptures, parseCaptureName, readCaptureHandler } from './captures.ts'
export { type RecallOutcome, Runs } from './registry.ts'
export { entriesOf, type RunReport, reportRun } from './report.ts'
export { reportCsv } from './report-csv.ts'
export { reportHtml } from './report-html.ts'
export type { Run } from './run.ts'
export { type Sighting, traceCode } from './trace.ts'
export * from './wire.ts'
