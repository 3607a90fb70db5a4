// The door of the sums: what a roll uses up, how fast and how long it runs, how large it winds (DESIGN §7).
export { type LayerSumOf, ordersFor, sumOrder } from './layers-read.ts'
export { layerSumsHandler, layerSumsOrder } from './layers-work.ts'
export type { TicketSums } from './result.ts'
export { type SumsRow, type SumsRows, sumsCodes, sumsRows } from './rows.ts'
export type { LabelCount } from './spread.ts'
export { type SumInquiry, sumTicket } from './ticket-sums.ts'
export { type WhatIf, whatIfSchema } from './what-if.ts'
