// The door of day-order: tickets reduced to what an order depends on, and the order of a day.
export { type DayTicket, dayMinutesOf, dayTicketOf, demandPlace, threadedReel } from './day-ticket.ts'
export { dayTicketsMax, orderDayInTurns } from './order-day.ts'
