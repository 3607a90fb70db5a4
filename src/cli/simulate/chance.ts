// Seeded chance by place rather than by turn: the same seed and place give the same number, in whatever order they are asked for.

/** A number in [0, 1) for whole numbers that say what it is for (32 bits each are mixed in; finalizer of MurmurHash3). */
export function chance(seed: number, ...at: readonly number[]): number {
  let mixed = seed | 0
  for (const part of at) mixed = Math.imul(mix(mixed ^ (part | 0)), 0x9e3779b1) + 0x7f4a7c15
  return (mix(mixed) >>> 0) / 2 ** 32
}

function mix(word: number): number {
  let mixed = word ^ (word >>> 16)
  mixed = Math.imul(mixed, 0x85ebca6b)
  mixed ^= mixed >>> 13
  mixed = Math.imul(mixed, 0xc2b2ae35)
  return mixed ^ (mixed >>> 16)
}
