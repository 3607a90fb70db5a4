// Merkle trees of RFC 9162 §2.1 (the trees of RFC 6962): hashing of leaves and nodes, and a frontier that takes leaf after leaf.
// Pure; the hash is an argument, so that a browser can run the same arithmetic.

/** SHA-256 of the bytes. Must neither keep nor change its argument. */
export type Sha256 = (bytes: Uint8Array) => Uint8Array

/** Length of a SHA-256 hash. */
export const hashBytes = 32

export const half = (n: number): number => Math.floor(n / 2)
export const isOdd = (n: number): boolean => n % 2 === 1

// One buffer for all inputs of a kind: making one costs as much as hashing what is put in it. Longer leaves get their own.
const leafInput = new Uint8Array(65_536)
const nodeInput = new Uint8Array(1 + 2 * hashBytes)
nodeInput[0] = 1

/** HASH(00 ‖ bytes). */
export function leafHash(sha256: Sha256, bytes: Uint8Array): Uint8Array {
  const length = bytes.length + 1
  const input = length > leafInput.length ? new Uint8Array(length) : leafInput.subarray(0, length)
  input.set(bytes, 1)
  return sha256(input)
}

/** HASH(01 ‖ left ‖ right). */
export function nodeHash(sha256: Sha256, children: { left: Uint8Array; right: Uint8Array }): Uint8Array {
  nodeInput.set(children.left, 1)
  nodeInput.set(children.right, 1 + hashBytes)
  return sha256(nodeInput)
}

/** The root of the tree without leaves: HASH(). */
export function emptyRoot(sha256: Sha256): Uint8Array {
  return sha256(new Uint8Array(0))
}

/** The right edge of a growing tree: the roots of its perfect subtrees, at most one for each bit of the size. */
export interface Frontier {
  /** Leaves taken so far. */
  readonly size: number
  /** Takes the hash of the next leaf. One node hash on average, log2(size) at worst. */
  append(leaf: Uint8Array): void
  /** The root over all leaves so far, in at most log2(size) node hashes. */
  root(): Uint8Array
}

export function createFrontier(sha256: Sha256): Frontier {
  const peaks: Uint8Array[] = []
  let size = 0
  return {
    get size() {
      return size
    },
    append(leaf) {
      let right = leaf
      // Each trailing one bit of the old size is a perfect subtree as large as the one just completed.
      for (let rest = size; isOdd(rest); rest = half(rest)) {
        const left = peaks.pop()
        if (left !== undefined) right = nodeHash(sha256, { left, right })
      }
      peaks.push(right)
      size += 1
    },
    root: () =>
      peaks.reduceRight<Uint8Array | undefined>((right, left) => join(sha256, left, right), undefined) ??
      emptyRoot(sha256),
  }
}

function join(sha256: Sha256, left: Uint8Array, right: Uint8Array | undefined): Uint8Array {
  return right === undefined ? left : nodeHash(sha256, { left, right })
}

/** MTH of RFC 9162 §2.1.1 over leaf hashes. */
export function rootOfLeaves(sha256: Sha256, leaves: Iterable<Uint8Array>): Uint8Array {
  const frontier = createFrontier(sha256)
  for (const leaf of leaves) frontier.append(leaf)
  return frontier.root()
}

export function equalHashes(hashes: { a: Uint8Array; b: Uint8Array }): boolean {
  const { a, b } = hashes
  return a.length === b.length && a.every((byte, i) => byte === b[i])
}
