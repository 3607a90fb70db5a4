// What a line of a reader says: a code, that nothing was read, or nothing that can be used.
import { limits } from '../kernel/limits.ts'
import type { ReaderSettings } from './settings.ts'

export type LineSaid =
  | { readonly kind: 'code'; readonly text: string }
  | { readonly kind: 'no-read' }
  | { readonly kind: 'garbage' }

const garbage: LineSaid = { kind: 'garbage' }

/** As much as a code may take in bytes, with what stands around it. */
export const lineBytesMax = limits.codeBytesMax * 4 + 128

export type LineForm = Pick<ReaderSettings, 'encoding' | 'prefix' | 'suffix' | 'noRead'>

const utf8 = new TextDecoder('utf-8', { fatal: true, ignoreBOM: true })

function decoded(bytes: Uint8Array, encoding: LineForm['encoding']): string | undefined {
  if (encoding === 'latin1') return Buffer.from(bytes).toString('latin1')
  try {
    return utf8.decode(bytes)
  } catch {
    return undefined
  }
}

/** Reads a line without its delimiter. What lacks the prefix or suffix, or is no text of the encoding, is garbage. */
export function readLine(bytes: Uint8Array, { encoding, prefix = '', suffix = '', noRead }: LineForm): LineSaid {
  const whole = decoded(bytes, encoding)
  if (whole === undefined || whole.length < prefix.length + suffix.length) return garbage
  if (!whole.startsWith(prefix) || !whole.endsWith(suffix)) return garbage
  const text = whole.slice(prefix.length, whole.length - suffix.length)
  if (text === noRead) return { kind: 'no-read' }
  if (text === '' || text.includes('\0') || text.length > limits.codeBytesMax * 4) return garbage
  return { kind: 'code', text }
}
