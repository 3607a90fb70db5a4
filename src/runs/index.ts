// The door of runs: a run put together, its registry, captures, reports and traces.

export { parseCaptureName } from './capture-files.ts'
export { watchCaptures } from './capture-folder.ts'
export { readCaptureHandler } from './capture-work.ts'
export { Captures, captureMediaTypes } from './captures.ts'
export { type RecallOutcome, Runs } from './registry.ts'
export { type RunReport, reportRun } from './report.ts'
export { reportCsv } from './report-csv.ts'
export { reportHtml } from './report-html.ts'
export type { Run } from './run.ts'
export { type Sighting, traceCode } from './trace.ts'
export * from './wire.ts'
