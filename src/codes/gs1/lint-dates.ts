// Dates and times of day.
import { digitAt, type Lint } from './lint.ts'

const twoDigits = (text: string, at: number): number => digitAt(text, at) * 10 + digitAt(text, at + 1)

/** Which century a two-digit year belongs to matters for 00 alone, and 2000 was a leap year: 00 reads as 2000 until 2050. */
const leaps = (year: number): boolean => (year % 4 === 0 && year % 100 !== 0) || year % 400 === 0

function daysIn(month: number, year: number): number {
  if (month === 2) return leaps(year) ? 29 : 28
  return month === 4 || month === 6 || month === 9 || month === 11 ? 30 : 31
}

interface DateRead {
  readonly text: string
  /** Offset of the month. */
  readonly at: number
  readonly year: number
  readonly dayMin: 0 | 1
}

function dateLint({ text, at, year, dayMin }: DateRead): Lint | undefined {
  const month = twoDigits(text, at)
  if (month < 1 || month > 12)
    return { at, message: `there is no month ${text.slice(at, at + 2)}`, measured: month, limit: '01 to 12' }
  const day = twoDigits(text, at + 2)
  const dayMax = daysIn(month, year)
  if (day >= dayMin && day <= dayMax) return undefined
  const limit = `0${dayMin} to ${dayMax}`
  return {
    at: at + 2,
    message: `month ${text.slice(at, at + 2)} of that year has no day ${text.slice(at + 2, at + 4)}`,
    measured: day,
    limit,
  }
}

/** `yymmdd`: a day of the calendar. */
export const yymmdd = (text: string): Lint | undefined =>
  dateLint({ text, at: 2, year: 2000 + twoDigits(text, 0), dayMin: 1 })

/** `yymmd0`: a day of the calendar, or a month with 00 for its day. */
export const yymmd0 = (text: string): Lint | undefined =>
  dateLint({ text, at: 2, year: 2000 + twoDigits(text, 0), dayMin: 0 })

/** `yyyymmdd`: a day of the calendar with all digits of its year. */
export const yyyymmdd = (text: string): Lint | undefined =>
  dateLint({ text, at: 4, year: twoDigits(text, 0) * 100 + twoDigits(text, 2), dayMin: 1 })

function within(
  text: string,
  { at, max, what }: { readonly at: number; readonly max: number; readonly what: string },
): Lint | undefined {
  const measured = twoDigits(text, at)
  if (measured <= max) return undefined
  return { at, message: `there is no ${what} ${measured}`, measured, limit: `00 to ${max}` }
}

/** `hh`: an hour, 00 to 23. */
export const hh = (text: string): Lint | undefined => within(text, { at: 0, max: 23, what: 'hour' })

/** `mi`: a minute, 00 to 59. */
export const mi = (text: string): Lint | undefined => within(text, { at: 0, max: 59, what: 'minute' })

/** `ss`: a second, 00 to 59. */
export const ss = (text: string): Lint | undefined => within(text, { at: 0, max: 59, what: 'second' })

/** `hhmi`: hour and minute. */
export const hhmi = (text: string): Lint | undefined => hh(text) ?? within(text, { at: 2, max: 59, what: 'minute' })
