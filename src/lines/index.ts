// The door of lines: profiles, tickets, policy, freezing and readiness.
export { type Frozen, type FrozenJob, type FrozenVersion, freeze, pinOf } from './freeze.ts'
export { defaultPolicy, type Policy, policyOf, strictest } from './policy.ts'
export { type LineProfile, lineSchema } from './profile.ts'
export { type Readiness, type ReadinessRow, readinessCodes, wantedVersions, weighReadiness } from './readiness.ts'
export { getLine, getTicket, listNames, parseLine, parseTicket, putLine, putTicket } from './store.ts'
export { type Ticket, ticketSchema } from './ticket.ts'
