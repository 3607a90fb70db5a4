// Check digits and check characters.
import { set82 } from './character-sets.ts'
import { isAlpha2 } from './code-lists.ts'
import { digitAt, type Lint } from './lint.ts'

/**
 * `csum`: the last digit makes the sum of all digits, weighted 1, 3, 1, … from the right, a multiple of 10 (General Specifications,
 * 7.9.1).
 */
export function csum(digits: string): Lint | undefined {
  const last = digits.length - 1
  let sum = 0
  for (let index = last - 1, weight = 3; index >= 0; index--, weight = 4 - weight)
    sum += digitAt(digits, index) * weight
  const expected = (10 - (sum % 10)) % 10
  const measured = digitAt(digits, last)
  if (measured === expected) return undefined
  return {
    at: last,
    message: `the check digit is ${measured} where the digits before it give ${expected}`,
    measured,
    limit: expected,
  }
}

const pairCharacters = '23456789ABCDEFGHJKLMNPQRSTUVWXYZ'

/** 2, 3, 5, …: the weights of the characters from the right. Components are at most 90 characters long. */
const primes = ((): readonly number[] => {
  const found: number[] = []
  for (let candidate = 2; found.length < 90; candidate++) {
    if (!found.some((prime) => candidate % prime === 0)) found.push(candidate)
  }
  return found
})()

/** The check characters for a text of set 82 (General Specifications, 7.9.5): weighted sum modulo 1021, two characters of five bits. */
export function checkPair(text: string): string {
  let sum = 0
  for (let index = 0; index < text.length; index++) {
    sum += set82.indexOf(text.charAt(index)) * (primes[text.length - 1 - index] ?? 0)
  }
  const value = sum % 1021
  return pairCharacters.charAt(value >> 5) + pairCharacters.charAt(value & 31)
}

/** `csumalpha`: the last two characters are the check characters of those before them. */
export function csumalpha(text: string): Lint | undefined {
  if (text.length < 2)
    return { at: 0, message: 'it is too short for two check characters', measured: text.length, limit: 2 }
  const expected = checkPair(text.slice(0, -2))
  const measured = text.slice(-2)
  if (measured === expected) return undefined
  const message = `the check characters are ${measured} where the characters before them give ${expected}`
  return { at: text.length - 2, message, measured, limit: expected }
}

/** Two letters of the country, two check digits and at least seven characters of the account. */
const ibanLengthMin = 11

/** The text with its first four characters moved to the end, letters as 10 to 35, modulo 97. */
function ibanRemainder(iban: string): number {
  let remainder = 0
  for (let step = 0; step < iban.length; step++) {
    const value = Number.parseInt(iban.charAt((step + 4) % iban.length), 36)
    remainder = (remainder * (value < 10 ? 10 : 100) + value) % 97
  }
  return remainder
}

/** `iban`: letters of a country, capital letters and digits only, and a remainder of 1 (ISO 13616-1 with ISO/IEC 7064 mod 97-10). */
export function iban(text: string): Lint | undefined {
  if (text.length < ibanLengthMin) {
    return { at: 0, message: 'it is too short for an IBAN', measured: text.length, limit: ibanLengthMin }
  }
  const country = text.slice(0, 2)
  if (!isAlpha2(country)) {
    return { at: 0, message: `${country} is no ISO 3166-1 country`, measured: country, limit: 'ISO 3166-1 alpha-2' }
  }
  const strange = text.search(/[^0-9A-Z]/)
  if (strange >= 0) {
    const measured = text.charAt(strange)
    return { at: strange, message: `an IBAN holds no “${measured}”`, measured, limit: 'capital letters and digits' }
  }
  const measured = ibanRemainder(text)
  if (measured === 1) return undefined
  return { at: 2, message: `the check digits leave ${measured} where they should leave 1`, measured, limit: 1 }
}
