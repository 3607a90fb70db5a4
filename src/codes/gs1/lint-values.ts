// Checks on single numbers and short forms.
import { digitAt, type Lint } from './lint.ts'

const refused = (message: string, rest: Omit<Lint, 'message' | 'at'> & { readonly at?: number }): Lint => ({
  at: 0,
  message,
  ...rest,
})

/** Shortest GS1 Company Prefix (General Specifications, 1.4.4). */
const prefixDigitsMin = 4

function prefixAt(text: string, start: number): Lint | undefined {
  for (let index = start; index < start + prefixDigitsMin; index++) {
    const digit = digitAt(text, index)
    if (digit >= 0 && digit <= 9) continue
    const measured = text.slice(start, start + prefixDigitsMin)
    const message = `a GS1 Company Prefix begins with ${prefixDigitsMin} digits, not with “${measured}”`
    return { at: Math.min(index, text.length), message, measured, limit: `${prefixDigitsMin} digits` }
  }
  return undefined
}

/** `gcppos1`: begins with what can be a GS1 Company Prefix. Whether the prefix is assigned is not known here. */
export const gcppos1 = (text: string): Lint | undefined => prefixAt(text, 0)

/** `gcppos2`: what can be a GS1 Company Prefix comes after the first digit. */
export const gcppos2 = (text: string): Lint | undefined => prefixAt(text, 1)

const isAll = (text: string, char: string): boolean => text === char.repeat(text.length)

/** `nonzero`: not all digits are 0. */
export const nonzero = (text: string): Lint | undefined =>
  isAll(text, '0') ? refused('it may not be zero', { measured: text, limit: 'not zero' }) : undefined

/** `zero`: only zeros. */
export const zero = (text: string): Lint | undefined =>
  isAll(text, '0') ? undefined : refused(`it is ${text} where 0 is asked for`, { measured: text, limit: 0 })

/** `nozeroprefix`: doesn't begin with 0. */
export const nozeroprefix = (text: string): Lint | undefined =>
  text.startsWith('0') ? refused('it may not begin with 0', { measured: text, limit: '1 to 9 first' }) : undefined

/** `hasnondigit`: at least one character is not a digit, so that it can't be taken for another number. */
export const hasnondigit = (text: string): Lint | undefined =>
  /[^0-9]/.test(text)
    ? undefined
    : refused('it needs a character that is not a digit', { measured: text, limit: 'not digits alone' })

/** `hyphen`: only hyphens; behind a temperature it is the minus sign. */
export const hyphen = (text: string): Lint | undefined =>
  isAll(text, '-') ? undefined : refused(`only a hyphen may stand here, not “${text}”`, { measured: text, limit: '-' })

/** `yesno`: 0 for no, 1 for yes. */
export const yesno = (text: string): Lint | undefined =>
  text === '0' || text === '1'
    ? undefined
    : refused(`${text} is neither 0 (no) nor 1 (yes)`, { measured: text, limit: '0 or 1' })

/** `winding`: 0 for face out, 1 for face in, 9 for undefined (General Specifications, AI 8001). */
export const winding = (text: string): Lint | undefined =>
  /^[019]$/.test(text) ? undefined : refused(`${text} is no winding direction`, { measured: text, limit: '0, 1 or 9' })

/** `importeridx`: one character out of 64 (General Specifications, AI 7040). */
export const importeridx = (text: string): Lint | undefined =>
  /^[-0-9A-Z_a-z]$/.test(text)
    ? undefined
    : refused(`“${text}” is no importer index`, { measured: text, limit: 'letter, digit, - or _' })

// Numbers of one length compare as texts do.
const upTo =
  (what: string, limit: string) =>
  (text: string): Lint | undefined =>
    text <= limit ? undefined : refused(`${text} is beyond the greatest ${what}`, { measured: text, limit })

/** `latitude`: degrees north of the south pole in 10⁻⁷, at most 180° (General Specifications, AI 4309). */
export const latitude = upTo('latitude', '1800000000')

/** `longitude`: degrees east in 10⁻⁷, at most 360°. */
export const longitude = upTo('longitude', '3600000000')

/** `pieceoftotal`: a piece's number and how many there are, in as many digits each; neither zero, and no piece beyond the last. */
export function pieceoftotal(text: string): Lint | undefined {
  const half = text.length / 2
  const piece = text.slice(0, half)
  const total = text.slice(half)
  if (isAll(piece, '0')) return refused('there is no piece 0', { measured: piece, limit: '1 or more' })
  if (isAll(total, '0')) return refused('a total of 0 has no pieces', { at: half, measured: total, limit: '1 or more' })
  if (piece <= total) return undefined
  return refused(`piece ${piece} is beyond the total of ${total}`, { measured: piece, limit: total })
}

/** `posinseqslash`: `position/end`, whole numbers without leading zeros, the position not beyond the end. */
export function posinseqslash(text: string): Lint | undefined {
  const form = /^([1-9][0-9]*)\/([1-9][0-9]*)$/.exec(text)
  if (!form) {
    return refused(`“${text}” is not position/end without leading zeros`, { measured: text, limit: 'position/end' })
  }
  const [, position = '', end = ''] = form
  if (Number(position) <= Number(end)) return undefined
  return refused(`position ${position} is beyond the end, ${end}`, { measured: position, limit: end })
}

/** `pcenc`: every `%` begins the code of a character in two hexadecimal digits (RFC 3986, 2.1). */
export function pcenc(text: string): Lint | undefined {
  const at = text.search(/%(?![0-9A-Fa-f]{2})/)
  if (at < 0) return undefined
  const measured = text.slice(at, at + 3)
  return refused(`“${measured}” is no percent-encoding`, { at, measured, limit: '% and two hexadecimal digits' })
}

/** `cset64`: padding of one or two `=` at the end only, and then in all a multiple of three characters, as the dictionary has it. */
export function cset64(text: string): Lint | undefined {
  const at = text.indexOf('=')
  if (at < 0) return undefined
  const padding = text.slice(at)
  if (isAll(padding, '=') && padding.length <= 2 && text.length % 3 === 0) return undefined
  return refused(`“${padding}” is no padding for ${at} characters`, {
    at,
    measured: padding,
    limit: 'a multiple of three characters',
  })
}
