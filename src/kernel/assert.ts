// A failed assert is a bug in Rollcall, never a reaction to input.

export function assert(condition: unknown, invariant: string): asserts condition {
  if (!condition) throw new Error(`invariant broken: ${invariant}`)
}
