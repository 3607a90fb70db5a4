// A single pass over JSON text for what JSON.parse keeps to itself: nesting depth, and names that stand twice in one object.

export interface JsonScan {
  /** Deepest nesting met; scanning ends just beyond the limit. */
  readonly depth: number
  /** JSON pointers of members whose name already stands in the same object. */
  readonly duplicates: readonly string[]
}

// Longer than any name of ours: what is cut can only be a strange one, which a pointer need not carry whole, let alone thousands of times.
const tokenMax = 130

/** One reference token of an RFC 6901 pointer; a name of absurd length is cut. */
export function pointerToken(name: string | number): string {
  const text = String(name)
  const shown = text.length > tokenMax ? `${text.slice(0, tokenMax)}…` : text
  return shown.replaceAll('~', '~0').replaceAll('/', '~1')
}

/** An RFC 6901 pointer; the empty one is the whole document. */
export const pointerOf = (path: readonly (string | number)[]): string =>
  path.map((name) => `/${pointerToken(name)}`).join('')

interface Level {
  /** Of an object; absent for an array. */
  readonly names?: Set<string>
  /** The member or element that is being read. */
  at: string | number
}

const quote = 0x22
const backslash = 0x5c

// Index of the quote that ends the string whose opening quote stands at `start`; the text's length if none does.
function stringEnd(text: string, start: number): number {
  for (let end = text.indexOf('"', start + 1); end >= 0; end = text.indexOf('"', end + 1)) {
    let slashes = 0
    while (text.charCodeAt(end - 1 - slashes) === backslash) slashes += 1
    if (slashes % 2 === 0) return end
  }
  return text.length
}

function nameIn(text: string, start: number, end: number): string {
  const raw = text.slice(start + 1, end)
  if (!raw.includes('\\')) return raw
  try {
    return String(JSON.parse(`"${raw}"`))
  } catch {
    return raw
  }
}

/** Never throws; on text that is not JSON the result means little, so parse it as well. */
export function scanJson(
  text: string,
  { depthMax, duplicatesMax }: { depthMax: number; duplicatesMax: number },
): JsonScan {
  const levels: Level[] = []
  const duplicates: string[] = []
  let deepest = 0
  let expectsName = false
  for (let i = 0; i < text.length; i += 1) {
    const char = text.charCodeAt(i)
    const level = levels.at(-1)
    if (char === quote) {
      const end = stringEnd(text, i)
      if (expectsName && level?.names) {
        level.at = nameIn(text, i, end)
        if (level.names.has(level.at) && duplicates.length < duplicatesMax) {
          duplicates.push(pointerOf(levels.map((one) => one.at)))
        }
        level.names.add(level.at)
        expectsName = false
      }
      i = end
    } else if (char === 0x7b || char === 0x5b) {
      levels.push(char === 0x7b ? { names: new Set(), at: '' } : { at: 0 })
      expectsName = char === 0x7b
      deepest = Math.max(deepest, levels.length)
      if (deepest > depthMax) break
    } else if (char === 0x7d || char === 0x5d) {
      levels.pop()
      expectsName = false
    } else if (char === 0x2c && level) {
      if (level.names) expectsName = true
      else level.at = Number(level.at) + 1
    }
  }
  return { depth: deepest, duplicates }
}
