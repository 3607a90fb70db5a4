// Proofs for every tree up to 200 leaves, against a tree written straight from the recursive definitions of RFC 9162 §2.1.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { sha256 } from '../../src/kernel/bytes.ts'
import { createFrontier, leafHash, nodeHash } from '../../src/ledger/merkle.ts'
import { consistencyProof, inclusionProof, verifyConsistency, verifyInclusion } from '../../src/ledger/proofs.ts'

const sizeMax = 200
const leaves = Array.from({ length: sizeMax }, (_, i) => leafHash(sha256, Buffer.from(`leaf ${i}`)))

/** The largest power of two below n, by its definition. */
const below = (n: number): number => 2 ** Math.floor(Math.log2(n - 1))

function naiveRoot(nodes: readonly Uint8Array[]): Uint8Array {
  if (nodes.length === 0) return sha256('')
  if (nodes.length === 1) return nodes[0]!
  const k = below(nodes.length)
  return nodeHash(sha256, { left: naiveRoot(nodes.slice(0, k)), right: naiveRoot(nodes.slice(k)) })
}

function naivePath(index: number, nodes: readonly Uint8Array[]): Uint8Array[] {
  if (nodes.length === 1) return []
  const k = below(nodes.length)
  if (index < k) return [...naivePath(index, nodes.slice(0, k)), naiveRoot(nodes.slice(k))]
  return [...naivePath(index - k, nodes.slice(k)), naiveRoot(nodes.slice(0, k))]
}

function naiveSubproof(m: number, nodes: readonly Uint8Array[], isWhole: boolean): Uint8Array[] {
  if (m === nodes.length) return isWhole ? [] : [naiveRoot(nodes)]
  const k = below(nodes.length)
  if (m <= k) return [...naiveSubproof(m, nodes.slice(0, k), isWhole), naiveRoot(nodes.slice(k))]
  return [...naiveSubproof(m - k, nodes.slice(k), false), naiveRoot(nodes.slice(0, k))]
}

const roots = Array.from({ length: sizeMax + 1 }, (_, size) => naiveRoot(leaves.slice(0, size)))
const hex = (hashes: readonly Uint8Array[]): string[] => hashes.map((hash) => Buffer.from(hash).toString('hex'))

/** A size, and a smaller or equal number from 0 on. */
const sizes = fc.integer({ min: 1, max: sizeMax }).chain((size) => fc.tuple(fc.constant(size), fc.nat(size)))
const positions = fc.integer({ min: 1, max: sizeMax }).chain((size) => fc.tuple(fc.constant(size), fc.nat(size - 1)))

/** 0 to `last`: both ends, and every fifth number between. */
function spread(last: number): ReadonlySet<number> {
  const between = Array.from({ length: Math.floor(last / 5) }, (_, i) => 5 * i + 1 + (last % 5))
  return new Set([0, ...between, last])
}

function flipped(bytes: Uint8Array, bit: number): Uint8Array {
  const copy = Uint8Array.from(bytes)
  copy[Math.floor(bit / 8)]! ^= 1 << (bit % 8)
  return copy
}

function replaced(list: readonly Uint8Array[], at: number, bit: number): readonly Uint8Array[] {
  return list.map((hash, i) => (i === at ? flipped(hash, bit) : hash))
}

describe('trees of up to 200 leaves', () => {
  it('the frontier agrees with the recursive definition at every size', () => {
    const frontier = createFrontier(sha256)
    for (let size = 0; size <= sizeMax; size += 1) {
      expect(frontier.size).toBe(size)
      expect(hex([frontier.root()])).toEqual(hex([roots[size]!]))
      if (size < sizeMax) frontier.append(leaves[size]!)
    }
  })

  it('leaves of every size are proved, by the path of the recursive definition', () => {
    for (let size = 1; size <= sizeMax; size += 1) {
      const tree = leaves.slice(0, size)
      for (const index of spread(size - 1)) {
        const proof = inclusionProof(sha256, { leaves: tree, index })
        const claim = { leaf: leaves[index]!, index, size, root: roots[size]!, proof }
        if (!verifyInclusion(sha256, claim)) expect.fail(`leaf ${index} of ${size} is not proved`)
      }
    }
    fc.assert(
      fc.property(positions, ([size, index]) => {
        const tree = leaves.slice(0, size)
        expect(hex(inclusionProof(sha256, { leaves: tree, index }))).toEqual(hex(naivePath(index, tree)))
      }),
    )
  })

  it('earlier sizes of every size are proved, by the proof of the recursive definition', () => {
    for (let second = 1; second <= sizeMax; second += 1) {
      const tree = leaves.slice(0, second)
      for (const first of spread(second)) {
        const proof = consistencyProof(sha256, { leaves: tree, first })
        const claim = { first, firstRoot: roots[first]!, second, secondRoot: roots[second]!, proof }
        if (!verifyConsistency(sha256, claim)) expect.fail(`size ${first} within ${second} is not proved`)
      }
    }
    fc.assert(
      fc.property(sizes, ([second, first]) => {
        fc.pre(first > 0)
        const tree = leaves.slice(0, second)
        expect(hex(consistencyProof(sha256, { leaves: tree, first }))).toEqual(hex(naiveSubproof(first, tree, true)))
      }),
    )
  })

  it('a flipped bit anywhere in leaf, root or path is rejected', () => {
    fc.assert(
      fc.property(positions, fc.nat(255), fc.nat(), ([size, index], bit, which) => {
        const proof = inclusionProof(sha256, { leaves: leaves.slice(0, size), index })
        const claim = { leaf: leaves[index]!, index, size, root: roots[size]!, proof }
        const at = which % (proof.length + 2)
        const broken =
          at === proof.length
            ? { ...claim, leaf: flipped(claim.leaf, bit) }
            : at > proof.length
              ? { ...claim, root: flipped(claim.root, bit) }
              : { ...claim, proof: replaced(proof, at, bit) }
        expect(verifyInclusion(sha256, broken)).toBe(false)
      }),
      { numRuns: 500 },
    )
  })

  it('a flipped bit anywhere in roots or consistency proof is rejected', () => {
    fc.assert(
      fc.property(sizes, fc.nat(255), fc.nat(), ([second, first], bit, which) => {
        fc.pre(first > 0)
        const proof = consistencyProof(sha256, { leaves: leaves.slice(0, second), first })
        const claim = { first, firstRoot: roots[first]!, second, secondRoot: roots[second]!, proof }
        const at = which % (proof.length + 2)
        const broken =
          at === proof.length
            ? { ...claim, firstRoot: flipped(claim.firstRoot, bit) }
            : at > proof.length
              ? { ...claim, secondRoot: flipped(claim.secondRoot, bit) }
              : { ...claim, proof: replaced(proof, at, bit) }
        expect(verifyConsistency(sha256, broken)).toBe(false)
      }),
      { numRuns: 500 },
    )
  })

  it('another index, a dropped or a doubled element is rejected', () => {
    fc.assert(
      fc.property(positions, fc.nat(sizeMax), fc.nat(), ([size, index], other, which) => {
        const proof = inclusionProof(sha256, { leaves: leaves.slice(0, size), index })
        const claim = { leaf: leaves[index]!, index, size, root: roots[size]!, proof }
        if (other !== index) expect(verifyInclusion(sha256, { ...claim, index: other })).toBe(false)
        if (proof.length === 0) return
        const at = which % proof.length
        expect(verifyInclusion(sha256, { ...claim, proof: proof.toSpliced(at, 1) })).toBe(false)
        expect(verifyInclusion(sha256, { ...claim, proof: proof.toSpliced(at, 0, proof[at]!) })).toBe(false)
      }),
      { numRuns: 500 },
    )
  })
})
