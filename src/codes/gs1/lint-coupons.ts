// Coupons of North America: what AI 8110 and AI 8112 hold, as a form that one reader walks through.
import type { Lint } from './lint.ts'
import { yymmdd } from './lint-dates.ts'

type Field =
  | { readonly what: string; readonly digits: number }
  | { readonly what: string; readonly oneOf: string }
  /** A digit for the length, `plus` added to it, and then as many digits; after `none` there are none. */
  | { readonly what: string; readonly sizes: string; readonly plus: number; readonly none?: string }
  | { readonly what: 'expiration date' | 'start date'; readonly date: true }
  /** Fields that are there where this digit leads them. */
  | { readonly lead: string; readonly fields: readonly Field[] }

const requirement = (which: string): readonly Field[] => [
  { what: `${which} purchase requirement`, sizes: '12345', plus: 0 },
  { what: `${which} purchase requirement code`, oneOf: '012349' },
  { what: `${which} purchase family code`, digits: 3 },
]

const otherPrefix = (which: string): Field => ({
  what: `company prefix of the ${which} purchase`,
  sizes: '01234569',
  plus: 6,
  none: '9',
})

const serial: Field = { what: 'serial number', sizes: '0123456789', plus: 6 }

/** North American Coupon Application Guideline Using GS1 DataBar Expanded Symbols. */
const couponForm: readonly Field[] = [
  { what: 'company prefix', sizes: '0123456', plus: 6 },
  { what: 'offer code', digits: 6 },
  { what: 'save value', sizes: '12345', plus: 0 },
  ...requirement('first'),
  {
    lead: '1',
    fields: [
      { what: 'additional purchase rules code', oneOf: '0123' },
      ...requirement('second'),
      otherPrefix('second'),
    ],
  },
  { lead: '2', fields: [...requirement('third'), otherPrefix('third')] },
  { lead: '3', fields: [{ what: 'expiration date', date: true }] },
  { lead: '4', fields: [{ what: 'start date', date: true }] },
  { lead: '5', fields: [serial] },
  { lead: '6', fields: [{ what: 'company prefix or GLN of the retailer', sizes: '1234567', plus: 6 }] },
  {
    lead: '9',
    fields: [
      { what: 'save value code', oneOf: '01256' },
      { what: 'item that the save value applies to', oneOf: '012' },
      { what: 'store coupon flag', digits: 1 },
      { what: 'flag against multiplying', oneOf: '01' },
    ],
  },
]

/** GS1 AI (8112) Coupon Data Specification. */
const positiveOfferForm: readonly Field[] = [
  { what: 'format code', oneOf: '01' },
  { what: 'funder', sizes: '0123456', plus: 6 },
  { what: 'offer code', digits: 6 },
  serial,
]

/** How far the walk has come, and what it found wrong. */
interface Walk {
  readonly text: string
  at: number
  readonly dates: Map<string, string>
  lint?: Lint
}

function walkAll(walk: Walk, fields: readonly Field[]): void {
  for (const field of fields) {
    if (walk.lint) return
    walkField(walk, field)
  }
}

function walkField(walk: Walk, field: Field): void {
  if ('lead' in field) {
    if (walk.text[walk.at] !== field.lead) return
    walk.at += 1
    walkAll(walk, field.fields)
  } else if ('digits' in field) takeDigits(walk, field.what, field.digits)
  else if ('date' in field) takeDate(walk, field.what)
  else if ('oneOf' in field) takeOneOf(walk, field.what, field.oneOf)
  else {
    const size = takeOneOf(walk, `length of the ${field.what}`, field.sizes)
    if (size !== '' && size !== field.none) takeDigits(walk, field.what, Number(size) + field.plus)
  }
}

function takeDigits(walk: Walk, what: string, count: number): string {
  const left = walk.text.length - walk.at
  if (left < count) {
    const message = `the ${what} has ${left} of its ${count} digits`
    walk.lint = { at: walk.at, message, measured: left, limit: count }
    return ''
  }
  walk.at += count
  return walk.text.slice(walk.at - count, walk.at)
}

function takeOneOf(walk: Walk, what: string, allowed: string): string {
  const digit = takeDigits(walk, what, 1)
  if (digit === '' || allowed.includes(digit)) return digit
  const limit = [...allowed].join(', ')
  walk.lint = {
    at: walk.at - 1,
    message: `the ${what} is ${digit} where only ${limit} may stand`,
    measured: digit,
    limit,
  }
  return ''
}

function takeDate(walk: Walk, what: string): void {
  const at = walk.at
  const date = takeDigits(walk, what, 6)
  const lint = date === '' ? undefined : yymmdd(date)
  if (lint) walk.lint = { ...lint, at: at + lint.at, message: `${what}: ${lint.message}` }
  walk.dates.set(what, date)
}

function walkForm(text: string, form: readonly Field[]): Lint | undefined {
  const strange = text.search(/[^0-9]/)
  if (strange >= 0) {
    const measured = text.charAt(strange)
    return { at: strange, message: `a coupon holds digits only, not “${measured}”`, measured, limit: 'digits' }
  }
  const walk: Walk = { text, at: 0, dates: new Map() }
  walkAll(walk, form)
  if (walk.lint) return walk.lint
  const start = walk.dates.get('start date')
  const expiration = walk.dates.get('expiration date')
  if (start !== undefined && expiration !== undefined && expiration < start) {
    const message = `the coupon expires (${expiration}) before it starts (${start})`
    return { at: walk.text.indexOf(`3${expiration}4${start}`) + 1, message, measured: expiration, limit: start }
  }
  if (walk.at === text.length) return undefined
  const measured = text.slice(walk.at)
  return { at: walk.at, message: `“${measured}” is left over behind the last field`, measured, limit: 'nothing' }
}

/** `couponcode`: the fields of AI 8110, each with its length and values; the coupon doesn't expire before it starts; nothing is left over. */
export const couponcode = (text: string): Lint | undefined => walkForm(text, couponForm)

/** `couponposoffer`: the fields of AI 8112; nothing is left over. */
export const couponposoffer = (text: string): Lint | undefined => walkForm(text, positiveOfferForm)
