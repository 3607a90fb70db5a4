// A failed assert is a bug in Rollcall, never a reaction to input.

export function assert(condition: unknown, invariant: string): asserts condition {
  if (!condition) throw new Error(`invariant broken: ${invariant}`)
}

/** Marks a branch that the types rule out; fails loudly should data from outside reach it all the same. */
export function unreachable(value: never): never {
  throw new Error(`invariant broken: unexpected ${String(value)}`)
}
