// The door of the simulator: a roll run against a server as a line would run it, with troubles planted, and its truth held against the
// ledger.
export { unmet } from './expectation.ts'
export type { Outcome } from './outcome.ts'
export { outcomeText } from './outcome-text.ts'
export { flatOut, timedPace } from './pace.ts'
export { type Scenario, scenarioSchema, withSerialsFrom } from './scenario.ts'
export { readScenario } from './scenario-file.ts'
export { simulate } from './simulate.ts'
