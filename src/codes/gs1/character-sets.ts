// The character sets of GS1 element strings (General Specifications, figures 7.11-1 to 7.11-3), as lookups by code unit.

export type CharacterSet = 'N' | 'X' | 'Y' | 'Z'

const digits = '0123456789'
const capitals = 'ABCDEFGHIJKLMNOPQRSTUVWXYZ'
const smalls = capitals.toLowerCase()

/** In the order of their values in check characters. */
export const set82 = `!"%&'()*+,-./${digits}:;<=>?${capitals}_${smalls}`

const characters: Readonly<Record<CharacterSet, string>> = {
  N: digits,
  X: set82,
  Y: `#-/${digits}${capitals}`,
  // The padding character `=` has rules of its own (`cset64` in linters).
  Z: `-_=${digits}${capitals}${smalls}`,
}

/** The names that the dictionary's checks have for the sets. */
export const setRules = { N: 'csetnumeric', X: 'cset82', Y: 'cset39', Z: 'cset64' } as const

export const setNames: Readonly<Record<CharacterSet, string>> = {
  N: 'digits',
  X: 'GS1 character set 82',
  Y: 'GS1 character set 39',
  Z: 'base64 with - and _',
}

const unitsMax = 128

function lookup(members: string): Uint8Array {
  const table = new Uint8Array(unitsMax)
  for (let index = 0; index < members.length; index++) table[members.charCodeAt(index)] = 1
  return table
}

const lookups: Readonly<Record<CharacterSet, Uint8Array>> = {
  N: lookup(characters.N),
  X: lookup(characters.X),
  Y: lookup(characters.Y),
  Z: lookup(characters.Z),
}

export interface Stretch {
  readonly text: string
  readonly from: number
  readonly to: number
}

/** Index of the first code unit of the stretch that is not of the set; −1 where all are. */
export function firstOutside(set: CharacterSet, { text, from, to }: Stretch): number {
  const table = lookups[set]
  for (let index = from; index < to; index++) if (table[text.charCodeAt(index)] !== 1) return index
  return -1
}
