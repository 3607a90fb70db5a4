// Codes that say nothing by themselves: 24 characters drawn at random, without those that people mistake for one another.
import { seeded } from '../random.ts'

const alphabet = '23456789ABCDEFGHJKLMNPQRSTUVWXYZ'
const length = 24

/** So many codes, each another. */
export function drawCodes(count: number, seed: number): readonly string[] {
  const random = seeded(seed)
  const codes = new Set<string>()
  while (codes.size < count) {
    codes.add(Array.from({ length }, () => alphabet[Math.floor(random() * alphabet.length)] ?? '').join(''))
  }
  return [...codes]
}

/** The code with one character, at `index`, changed to the next of the alphabet. */
export function oneOff(code: string, index: number): string {
  const next = alphabet[(alphabet.indexOf(code[index] ?? '') + 1) % alphabet.length] ?? ''
  return code.slice(0, index) + next + code.slice(index + 1)
}
