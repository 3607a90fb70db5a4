// The parts of an http or https URI (RFC 3986), each held to the characters that may stand in it.
import type { Gs1RuleName } from './fault.ts'

export interface UriParts {
  /** Each a stretch of the text, end excluded. */
  readonly path: Span
  /** Without its question mark; empty where there is none. */
  readonly query: Span
}

export interface Span {
  readonly from: number
  readonly to: number
}

export interface UriFault {
  readonly at: number
  readonly rule: Gs1RuleName
  readonly message: string
  readonly measured?: string
  readonly limit?: string
}

export type UriCut = { readonly ok: true; readonly parts: UriParts } | { readonly ok: false; readonly fault: UriFault }

const schemes = ['https://', 'http://', 'HTTPS://', 'HTTP://'] as const

export const looksLikeUri = (text: string): boolean => /^https?:/i.test(text)

const pathChars = charTable("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~!$&'()*+,;=:@/%")
const queryChars = charTable("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~!$&'()*+,;=:@/?%")

function charTable(chars: string): Uint8Array {
  const table = new Uint8Array(128)
  for (const char of chars) table[char.charCodeAt(0)] = 1
  return table
}

/** Takes the URI apart that begins at `from`. Schemes are all small or all capital letters, since a QR code holds capitals in less room. */
export function cutUri(text: string, from: number): UriCut {
  const scheme = schemes.find((candidate) => text.startsWith(candidate, from))
  if (scheme === undefined) {
    const measured = text.slice(from, from + 8)
    return fail({
      at: from,
      rule: 'scheme',
      message: `“${measured}” is not the beginning of a Digital Link`,
      measured,
      limit: schemes.join(' '),
    })
  }
  const hostFrom = from + scheme.length
  const hostTo = firstOf(text, { from: hostFrom, chars: '/?#' })
  const host = hostFault(text, { from: hostFrom, to: hostTo })
  if (host) return fail(host)
  const fragmentAt = orEnd(text, text.indexOf('#', hostTo))
  const queryAt = Math.min(orEnd(text, text.indexOf('?', hostTo)), fragmentAt)
  const path = { from: hostTo, to: queryAt }
  const query = { from: Math.min(queryAt + 1, fragmentAt), to: fragmentAt }
  const fault =
    charFault(text, path, pathChars) ??
    charFault(text, query, queryChars) ??
    charFault(text, { from: fragmentAt + 1, to: text.length }, queryChars)
  return fault ? fail(fault) : { ok: true, parts: { path, query } }
}

const fail = (fault: UriFault): UriCut => ({ ok: false, fault })

const orEnd = (text: string, at: number): number => (at < 0 ? text.length : at)

function firstOf(text: string, { from, chars }: { readonly from: number; readonly chars: string }): number {
  let at = from
  while (at < text.length && !chars.includes(text.charAt(at))) at += 1
  return at
}

/**
 * A name, an IPv4 address or an IPv6 address in brackets, and maybe a port. No user information: for http and https it counts as an
 * error (RFC 9110, 4.2.4), and it hides which host is meant. Names beyond ASCII are written in Punycode.
 */
function hostFault(text: string, { from, to }: Span): UriFault | undefined {
  const authority = text.slice(from, to)
  const userAt = authority.indexOf('@')
  if (userAt >= 0) {
    return {
      at: from,
      rule: 'host',
      message: 'user information may not stand before the host',
      measured: authority.slice(0, userAt + 1),
    }
  }
  const form = /^(?:[A-Za-z0-9._~-]+|\[[0-9A-Fa-f:.]+\])(?::([0-9]*))?$/.exec(authority)
  if (!form)
    return { at: from, rule: 'host', message: `“${authority}” is no host`, measured: authority, limit: 'host[:port]' }
  const port = form[1] ?? ''
  if (Number(port) <= 65_535) return undefined
  return { at: to - port.length, rule: 'host', message: `there is no port ${port}`, measured: port, limit: '65535' }
}

function charFault(text: string, { from, to }: Span, allowed: Uint8Array): UriFault | undefined {
  for (let at = from; at < to; at++) {
    const unit = text.charCodeAt(at)
    if (allowed[unit] !== 1) {
      const measured = text.charAt(at)
      return {
        at,
        rule: 'uri-character',
        message: `“${measured}” has to be percent-encoded here`,
        measured,
        limit: 'RFC 3986',
      }
    }
    if (unit === 0x25 && byteAt(text, at, to) < 0) {
      const measured = text.slice(at, Math.min(at + 3, to))
      return {
        at,
        rule: 'percent',
        message: `“${measured}” is no percent-encoding`,
        measured,
        limit: '% and two hexadecimal digits',
      }
    }
  }
  return undefined
}

/** The byte that a `%` at this place encodes, −1 where it encodes none. */
function byteAt(text: string, at: number, to: number): number {
  if (at + 3 > to) return -1
  const high = hexDigit(text.charCodeAt(at + 1))
  const low = hexDigit(text.charCodeAt(at + 2))
  return high < 0 || low < 0 ? -1 : high * 16 + low
}

function hexDigit(unit: number): number {
  if (unit >= 0x30 && unit <= 0x39) return unit - 0x30
  const letter = (unit | 0x20) - 0x61
  return letter >= 0 && letter <= 5 ? letter + 10 : -1
}

/**
 * A stretch with its percent-encoding undone, byte by byte: GS1 values are ASCII, and what is not becomes a character that no set
 * holds. In a query a plus sign is a space.
 */
export function decode(text: string, { from, to, inQuery }: Span & { readonly inQuery: boolean }): string {
  const plain = text.slice(from, to)
  if (!plain.includes('%') && !(inQuery && plain.includes('+'))) return plain
  let decoded = ''
  for (let at = from; at < to; at++) {
    const char = text.charAt(at)
    if (char === '%') {
      decoded += String.fromCharCode(byteAt(text, at, to))
      at += 2
    } else decoded += char === '+' && inQuery ? ' ' : char
  }
  return decoded
}
