// The door of lines: profiles, tickets, policy, freezing and readiness.
export {
  type DayTicket,
  dayMinutesOf,
  dayTicketOf,
  dayTicketsMax,
  demandPlace,
  orderDayInTurns,
  threadedReel,
} from './day-order/index.ts'
export { type Frozen, type FrozenJob, type FrozenVersion, freeze, pinOf } from './freeze.ts'
export { checkLine, lineCodes } from './line-check.ts'
export {
  acrossPasses,
  type Impossible,
  impossibleCodes,
  type Orientation,
  type OrientationInquiry,
  orientationOf,
  orientationSvg,
  orientationWords,
  type PassesAgree,
  rewound,
  type TravellingCell,
} from './orientation/index.ts'
export { defaultPolicy, type Policy, policyOf, strictest } from './policy.ts'
export { type LineProfile, lineSchema } from './profile.ts'
export {
  type Readiness,
  type ReadinessRow,
  type ReadinessRows,
  readinessCodes,
  reelBlockers,
  reelCodes,
  type SequenceTally,
  tallySequence,
  wantedVersions,
  weighReadiness,
} from './readiness.ts'
export { readSequence, type SequenceOutcome } from './sequence.ts'
export { cellsOf, layoutOf, type SequenceLayout } from './sequence-layout.ts'
export { putSequence } from './sequence-store.ts'
export {
  getLine,
  getTicket,
  lineRevisions,
  listLines,
  listNames,
  listTickets,
  parseLine,
  parseTicket,
  putLine,
  putTicket,
  type Revision,
  ticketRevisions,
} from './store.ts'
export {
  type LabelCount,
  type LayerSumOf,
  layerSumsHandler,
  layerSumsOrder,
  ordersFor,
  type SumInquiry,
  type SumsRow,
  type SumsRows,
  sumOrder,
  sumsCodes,
  sumsRows,
  sumTicket,
  type TicketSums,
  type WhatIf,
  whatIfSchema,
} from './sums/index.ts'
export { type Ticket, ticketSchema } from './ticket.ts'
export { checkTicket, type TicketSurroundings, ticketCodes } from './ticket-check.ts'
