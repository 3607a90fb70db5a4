// Inclusion and consistency proofs of RFC 9162 §2.1.3 and §2.1.4: which subtrees make up a proof, and what a verifier accepts.
import { assert } from '../kernel/assert.ts'
import { emptyRoot, equalHashes, half, hashBytes, isOdd, nodeHash, rootOfLeaves, type Sha256 } from './merkle.ts'

/** Leaves `from` (inclusive) to `to` (exclusive) of a tree, whose root is one element of a proof. */
export interface LeafRange {
  readonly from: number
  readonly to: number
}

/** The largest power of two below n; n is at least 2. */
function splitOf(n: number): number {
  let k = 1
  while (k * 2 < n) k *= 2
  return k
}

/** The subtrees beside the path from leaf `index` to the root of `size` leaves, in proof order (PATH, RFC 9162 §2.1.3.1). */
export function inclusionRanges(leaf: { index: number; size: number }): readonly LeafRange[] {
  assert(leaf.index >= 0 && leaf.index < leaf.size, 'the tree holds the leaf that is to be proved')
  const fromRoot: LeafRange[] = []
  let from = 0
  let to = leaf.size
  while (to - from > 1) {
    const split = from + splitOf(to - from)
    if (leaf.index < split) {
      fromRoot.push({ from: split, to })
      to = split
    } else {
      fromRoot.push({ from, to: split })
      from = split
    }
  }
  return fromRoot.reverse()
}

/** The subtrees that show the tree of `first` leaves to be the beginning of that of `second` (PROOF, RFC 9162 §2.1.4.1). */
function consistencyRanges(sizes: { first: number; second: number }): readonly LeafRange[] {
  const { first, second } = sizes
  assert(first >= 0 && first <= second, 'a tree only grows')
  if (first === 0 || first === second) return []
  const fromRoot: LeafRange[] = []
  let from = 0
  let to = second
  while (to !== first) {
    const split = from + splitOf(to - from)
    if (first <= split) {
      fromRoot.push({ from: split, to })
      to = split
    } else {
      fromRoot.push({ from, to: split })
      from = split
    }
  }
  // When the old tree is itself a subtree here, the verifier knows its root already.
  if (from > 0) fromRoot.push({ from, to })
  return fromRoot.reverse()
}

/** Audit path of leaf `index` among all these leaf hashes, from the leaf upwards. */
export function inclusionProof(
  sha256: Sha256,
  tree: { leaves: readonly Uint8Array[]; index: number },
): readonly Uint8Array[] {
  const ranges = inclusionRanges({ index: tree.index, size: tree.leaves.length })
  return ranges.map(({ from, to }) => rootOfLeaves(sha256, tree.leaves.slice(from, to)))
}

/** Proof that the first `first` of these leaf hashes are an earlier state of the tree of all of them. */
export function consistencyProof(
  sha256: Sha256,
  tree: { leaves: readonly Uint8Array[]; first: number },
): readonly Uint8Array[] {
  const ranges = consistencyRanges({ first: tree.first, second: tree.leaves.length })
  return ranges.map(({ from, to }) => rootOfLeaves(sha256, tree.leaves.slice(from, to)))
}

const isSize = (n: number): boolean => Number.isSafeInteger(n) && n >= 0
const areHashes = (hashes: readonly Uint8Array[]): boolean => hashes.every((hash) => hash.length === hashBytes)

/** A claim that `leaf` (a leaf hash) stands at `index` in the tree of `size` leaves with this root. All of it may be hostile. */
export interface InclusionClaim {
  readonly leaf: Uint8Array
  readonly index: number
  readonly size: number
  readonly root: Uint8Array
  readonly proof: readonly Uint8Array[]
}

/**
 * RFC 9162 §2.1.3.2. False for a proof that is too short, too long, or of anything else. A tree does not hash its size: take
 * `size` and `root` from one trusted head, for the proof also fits other sizes whose path has the same turns.
 */
export function verifyInclusion(sha256: Sha256, claim: InclusionClaim): boolean {
  const { leaf, index, size, root, proof } = claim
  if (!isSize(index) || !isSize(size) || index >= size || !areHashes([leaf, root, ...proof])) return false
  let fn = index
  let sn = size - 1
  let hash = leaf
  for (const sibling of proof) {
    if (sn === 0) return false
    if (isOdd(fn) || fn === sn) {
      hash = nodeHash(sha256, { left: sibling, right: hash })
      ;[fn, sn] = upToRightChild(fn, sn)
    } else {
      hash = nodeHash(sha256, { left: hash, right: sibling })
    }
    fn = half(fn)
    sn = half(sn)
  }
  return sn === 0 && equalHashes({ a: hash, b: root })
}

/** A claim that the tree of `first` leaves is the beginning of the tree of `second` leaves. All of it may be hostile. */
export interface ConsistencyClaim {
  readonly first: number
  readonly firstRoot: Uint8Array
  readonly second: number
  readonly secondRoot: Uint8Array
  readonly proof: readonly Uint8Array[]
}

/**
 * RFC 9162 §2.1.4.2; every tree also grows out of the empty one, by an empty proof. Sizes are to be trusted together with their
 * roots, as with `verifyInclusion`.
 */
export function verifyConsistency(sha256: Sha256, claim: ConsistencyClaim): boolean {
  const { first, firstRoot, second, secondRoot, proof } = claim
  if (!isSize(first) || !isSize(second) || first > second) return false
  if (!areHashes([firstRoot, secondRoot, ...proof])) return false
  if (first === second) return proof.length === 0 && equalHashes({ a: firstRoot, b: secondRoot })
  if (first === 0) return proof.length === 0 && equalHashes({ a: firstRoot, b: emptyRoot(sha256) })
  const [start, ...rest] = isPowerOfTwo(first) ? [firstRoot, ...proof] : proof
  return start !== undefined && growsOver(sha256, { ...claim, proof: rest }, start)
}

function growsOver(sha256: Sha256, claim: ConsistencyClaim, start: Uint8Array): boolean {
  let [fn, sn] = downToLeftChild(claim.first - 1, claim.second - 1)
  let [oldHash, newHash] = [start, start]
  for (const sibling of claim.proof) {
    if (sn === 0) return false
    if (isOdd(fn) || fn === sn) {
      oldHash = nodeHash(sha256, { left: sibling, right: oldHash })
      newHash = nodeHash(sha256, { left: sibling, right: newHash })
      ;[fn, sn] = upToRightChild(fn, sn)
    } else {
      newHash = nodeHash(sha256, { left: newHash, right: sibling })
    }
    fn = half(fn)
    sn = half(sn)
  }
  return sn === 0 && equalHashes({ a: oldHash, b: claim.firstRoot }) && equalHashes({ a: newHash, b: claim.secondRoot })
}

function isPowerOfTwo(n: number): boolean {
  let rest = n
  while (rest > 1 && !isOdd(rest)) rest = half(rest)
  return rest === 1
}

/** Both numbers shifted right until the first is odd or zero. */
function upToRightChild(fn: number, sn: number): [number, number] {
  let [a, b] = [fn, sn]
  while (!isOdd(a) && a !== 0) [a, b] = [half(a), half(b)]
  return [a, b]
}

/** Both numbers shifted right while the first is odd. */
function downToLeftChild(fn: number, sn: number): [number, number] {
  let [a, b] = [fn, sn]
  while (isOdd(a)) [a, b] = [half(a), half(b)]
  return [a, b]
}
