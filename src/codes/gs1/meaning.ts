// What a value means to a person, where that is simple: dates, measures, amounts, countries, rolls.
import type { Gs1Element } from './message.ts'
import { rollFrom8001 } from './roll.ts'

export interface MeaningContext {
  /** For the century of two-digit years. */
  readonly thisYear: number
}

/** A sentence on a value that holds; undefined where the value speaks for itself. */
export function meaningOf(element: Gs1Element, title: string, context: MeaningContext): string | undefined {
  const { ai, value } = element
  if (ai === '8001') return rollMeaning(element)
  if (/^3[1-6]/.test(ai)) return measure(value, Number(ai.charAt(3)), unitOf(title))
  if (/^39[0-5]/.test(ai)) return amount(ai, value)
  if (ai === '422' || ai === '424' || ai === '426') return countryOf(value)
  return dateMeaning(ai, value, context)
}

function rollMeaning(element: Gs1Element): string | undefined {
  const roll = rollFrom8001([element])
  if (!roll) return undefined
  const wound = roll.winding === 'undefined' ? 'winding undefined' : `wound face ${roll.winding}`
  const splices = roll.splices === undefined ? 'splices not counted' : `${roll.splices} splices`
  return `${roll.widthMm} mm wide, ${roll.lengthM} m long, core ${roll.coreMm} mm, ${wound}, ${splices}`
}

/** Decimals as the last digit of the AI has them. */
function decimal(digits: string, places: number): string {
  const padded = digits.padStart(places + 1, '0')
  const whole = padded.slice(0, padded.length - places).replace(/^0+(?=[0-9])/, '')
  return places === 0 ? whole : `${whole}.${padded.slice(-places)}`
}

/** In brackets behind the title, such as `NET VOLUME (qt (US))`; AI 337n says KG PER m². */
const unitOf = (title: string): string =>
  /\(([^()]*(?:\([^()]*\))?)\)(?:, log)?$/.exec(title)?.[1] ?? title.toLowerCase()

const measure = (value: string, places: number, unit: string): string => `${decimal(value, places)} ${unit}`

function amount(ai: string, value: string): string | undefined {
  const places = Number(ai.charAt(3))
  if (ai.startsWith('394')) return `${decimal(value, places)} %`
  if (!ai.startsWith('391') && !ai.startsWith('393')) return decimal(value, places)
  return `${decimal(value.slice(3), places)} in currency ${value.slice(0, 3)} (ISO 4217)`
}

function countryOf(number: string): string | undefined {
  const region = new Intl.Locale(`und-${number}`).region
  return region === undefined ? undefined : new Intl.DisplayNames('en', { type: 'region' }).of(region)
}

/** AIs whose value begins with a date of six digits, and how the rest of it is read. */
const dated: Readonly<Record<string, 'day' | 'day, day' | 'day, time'>> = {
  '11': 'day',
  '12': 'day',
  '13': 'day',
  '15': 'day',
  '16': 'day',
  '17': 'day',
  '4324': 'day, time',
  '4325': 'day, time',
  '4326': 'day',
  '7003': 'day, time',
  '7006': 'day',
  '7007': 'day, day',
  '7011': 'day, time',
  '8008': 'day, time',
}

function dateMeaning(ai: string, value: string, { thisYear }: MeaningContext): string | undefined {
  if (ai === '7250' || ai === '7251') {
    return `${value.slice(0, 4)}-${value.slice(4, 6)}-${value.slice(6, 8)}${timeOf(value.slice(8))}`
  }
  const form = dated[ai]
  if (form === undefined) return undefined
  const day = dayOf(value, thisYear)
  const rest = value.slice(6)
  if (rest === '') return day
  return form === 'day, day' ? `${day} to ${dayOf(rest, thisYear)}` : `${day}${timeOf(rest)}`
}

function dayOf(yymmdd: string, thisYear: number): string {
  const month = `${fullYear(Number(yymmdd.slice(0, 2)), thisYear)}-${yymmdd.slice(2, 4)}`
  const day = yymmdd.slice(4, 6)
  return day === '00' ? `${month}, no day given` : `${month}-${day}`
}

/** The year nearest to this one: 49 years back to 50 years ahead (General Specifications, 7.12). */
function fullYear(twoDigits: number, thisYear: number): number {
  const century = thisYear - (thisYear % 100)
  const ahead = twoDigits - (thisYear % 100)
  if (ahead >= 51) return century - 100 + twoDigits
  return ahead <= -50 ? century + 100 + twoDigits : century + twoDigits
}

const timeOf = (digits: string): string =>
  digits === '' ? '' : ` ${(digits.match(/../g) ?? []).join(':')}${digits.length === 2 ? ' h' : ''}`
