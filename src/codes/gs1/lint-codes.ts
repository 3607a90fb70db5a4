// Values out of the code lists of others.
import { isAlpha2, isCountry, isCurrency, isPackageType } from './code-lists.ts'
import type { Lint } from './lint.ts'

const notListed = (measured: string, list: string): Lint => ({
  at: 0,
  message: `${measured} is not in ${list}`,
  measured,
  limit: list,
})

const outOf =
  (list: string, isListed: (code: string) => boolean) =>
  (code: string): Lint | undefined =>
    isListed(code) ? undefined : notListed(code, list)

/** `iso3166`: a country's number. */
export const iso3166 = outOf('ISO 3166-1 (numeric)', isCountry)

/** `iso3166999`: a country's number, or 999 for several. */
export const iso3166999 = outOf('ISO 3166-1 (numeric) or 999', (code) => code === '999' || isCountry(code))

/** `iso3166alpha2`: a country's two letters. */
export const iso3166alpha2 = outOf('ISO 3166-1 (alpha-2)', isAlpha2)

/** `iso4217`: a currency's number. */
export const iso4217 = outOf('ISO 4217 (numeric)', isCurrency)

/** `iso5218`: a sex: 0 not known, 1 male, 2 female, 9 not applicable. */
export const iso5218 = outOf('ISO 5218 (0, 1, 2, 9)', (code) => /^[0129]$/.test(code))

/** `mediatype`: what a blood bank's code stands on; 11 to 79 are not assigned (General Specifications, AI 7241). */
export const mediatype = outOf('the AIDC media types (01 to 10, 80 to 99)', (code) =>
  /^(0[1-9]|10|[89][0-9])$/.test(code),
)

/** `packagetype`: UN/ECE Recommendation 21 with the additions of GS1. */
export const packagetype = outOf('the package types of UN/ECE Recommendation 21 and GS1', isPackageType)
