// Names of files inside a package: relative, with forward slashes, and meaning the same file on every system.
import { limits } from '../kernel/limits.ts'
import type { Finding } from '../kernel/problem.ts'

const segmentBytesMax = 255
const bytesOf = (text: string): number => Buffer.byteLength(text)

const hasControl = (text: string): boolean => {
  for (const char of text) if (char < ' ' || char === '\u007f') return true
  return false
}

function segmentFault(segment: string): string | undefined {
  if (segment === '') return 'has an empty part'
  if (segment === '.' || segment === '..') return `has a part "${segment}"`
  if (/[ .]$/.test(segment)) return 'has a part that ends in a blank or dot, which some systems drop'
  if (bytesOf(segment) > segmentBytesMax) return `has a part of more than ${segmentBytesMax} bytes`
  return undefined
}

/** Why a name can't be that of a file in a package; undefined for a good one. */
export function pathFault(path: string): string | undefined {
  if (bytesOf(path) > limits.pathBytesMax) return `is longer than ${limits.pathBytesMax} bytes`
  if (hasControl(path)) return 'holds a control character'
  if (path.includes('\ufffd') || !path.isWellFormed()) return 'is not UTF-8'
  if (path.includes('\\')) return 'holds a backslash; use forward slashes'
  if (path.startsWith('/')) return 'is absolute'
  if (/^[A-Za-z]:/.test(path)) return 'begins with a drive letter'
  for (const segment of path.split('/')) {
    const fault = segmentFault(segment)
    if (fault) return fault
  }
  return undefined
}

/** A path for a message: control characters shown, cut to a readable length. */
export const shownPath = (path: string): string => {
  const shown = JSON.stringify(path).slice(1, -1)
  return shown.length > 160 ? `${shown.slice(0, 160)}…` : shown
}

/** The form in which paths are compared: composed Unicode. */
export const pathKey = (path: string): string => path.normalize('NFC')

const foldedKey = (path: string): string => pathKey(path).toLowerCase()

/** Takes in the paths of a package one by one and says what is wrong with each, clashes that differ only in case included. */
export function openPathCensus(): { admit(path: string): Finding | undefined } {
  const seen = new Map<string, string>()
  const finding = (path: string, what: string): Finding => ({
    code: 'file-path',
    file: shownPath(path),
    message: `the name ${shownPath(path)} ${what}`,
  })
  return {
    admit(path) {
      const fault = pathFault(path)
      if (fault) return finding(path, fault)
      const other = seen.get(foldedKey(path))
      if (other === path) return finding(path, 'stands in the package twice')
      if (other !== undefined)
        return finding(path, `differs from ${shownPath(other)} only in case or accents' encoding`)
      seen.set(foldedKey(path), path)
      return undefined
    },
  }
}
