// The door of the tracker.
export { openCountingTracker } from './count.ts'
export type { Tracked, Tracker } from './port.ts'
