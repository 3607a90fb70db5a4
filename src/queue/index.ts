// The door of the work queue.
export { type StartTimer, systemTimer } from './alarm.ts'
export { openInProcessQueue } from './in-process.ts'
export type * from './port.ts'
export { openThreads, type Threads } from './threads.ts'
