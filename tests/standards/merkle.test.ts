// Trees and proofs against published check values: the leaves, roots and proofs are those of the RFC 6962 reference tests, as
// recomputed for this project; the rejections are those that RFC 9162 §2.1.3.2 and §2.1.4.2 ask of a verifier.
import { describe, expect, it } from 'vitest'
import { sha256 } from '../../src/kernel/bytes.ts'
import { createFrontier, emptyRoot, leafHash, nodeHash, rootOfLeaves } from '../../src/ledger/merkle.ts'
import { consistencyProof, inclusionProof, verifyConsistency, verifyInclusion } from '../../src/ledger/proofs.ts'

const inputs = ['', '00', '10', '2021', '3031', '40414243', '5051525354555657', '606162636465666768696a6b6c6d6e6f']
const roots = [
  'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855',
  '6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d',
  'fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125',
  'aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77',
  'd37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7',
  '4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4',
  '76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef',
  'ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c',
  '5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328',
]
const nodeA = 'bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b'
const nodeB = 'ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0'
const nodeC = '0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a'
const nodeE = '5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e'

const fromHex = (hex: string): Uint8Array => Buffer.from(hex, 'hex')
const toHex = (bytes: Uint8Array): string => Buffer.from(bytes).toString('hex')
const leaves = inputs.map((hex) => leafHash(sha256, fromHex(hex)))
const rootOf = (size: number): Uint8Array => fromHex(roots[size]!)

describe('published trees', () => {
  it.each(roots.map((root, size) => ({ root, size })))(
    'the root of $size leaves is the published one',
    ({ root, size }) => {
      expect(toHex(rootOfLeaves(sha256, leaves.slice(0, size)))).toBe(root)
    },
  )

  it('a frontier gives each root on the way', () => {
    const frontier = createFrontier(sha256)
    const seen = [toHex(frontier.root())]
    for (const leaf of leaves) {
      frontier.append(leaf)
      seen.push(toHex(frontier.root()))
    }
    expect(seen).toEqual(roots)
  })

  it('the empty root is the hash of nothing', () => {
    expect(toHex(emptyRoot(sha256))).toBe(roots[0])
  })

  it('leaf and node hashes are those published', () => {
    // A is leaf 4, B the node over leaves 6 and 7, C the node over leaves 4 and 5, E leaf 2.
    expect(toHex(leaves[4]!)).toBe(nodeA)
    expect(toHex(nodeHash(sha256, { left: leaves[6]!, right: leaves[7]! }))).toBe(nodeB)
    expect(toHex(nodeHash(sha256, { left: leaves[4]!, right: leaves[5]! }))).toBe(nodeC)
    expect(toHex(nodeHash(sha256, { left: leaves[2]!, right: leaves[3]! }))).toBe(nodeE)
  })

  it('the inclusion proofs are the published ones', () => {
    expect(inclusionProof(sha256, { leaves, index: 5 }).map(toHex)).toEqual([nodeA, nodeB, roots[4]])
    expect(inclusionProof(sha256, { leaves: leaves.slice(0, 3), index: 2 }).map(toHex)).toEqual([roots[2]])
    expect(inclusionProof(sha256, { leaves: leaves.slice(0, 1), index: 0 })).toEqual([])
  })

  it('the consistency proofs are the published ones', () => {
    expect(consistencyProof(sha256, { leaves, first: 6 }).map(toHex)).toEqual([nodeC, nodeB, roots[4]])
    expect(consistencyProof(sha256, { leaves: leaves.slice(0, 5), first: 2 }).map(toHex)).toEqual([nodeE, nodeA])
    expect(consistencyProof(sha256, { leaves, first: 8 })).toEqual([])
  })
})

const inclusion = {
  leaf: leaves[5]!,
  index: 5,
  size: 8,
  root: rootOf(8),
  proof: [nodeA, nodeB, roots[4]!].map(fromHex),
}
const consistency = {
  first: 6,
  firstRoot: rootOf(6),
  second: 8,
  secondRoot: rootOf(8),
  proof: [nodeC, nodeB, roots[4]!].map(fromHex),
}
const garbage = fromHex('ff'.repeat(32))
const short = fromHex('ff'.repeat(31))

describe('an inclusion verifier', () => {
  it('accepts the published proof', () => {
    expect(verifyInclusion(sha256, inclusion)).toBe(true)
  })

  const wrong: Record<string, Partial<typeof inclusion>> = {
    'a proof that is too short': { proof: inclusion.proof.slice(0, 2) },
    'an empty proof': { proof: [] },
    'a proof that is too long': { proof: [...inclusion.proof, rootOf(8)] },
    'garbage before the proof': { proof: [garbage, ...inclusion.proof] },
    'garbage behind the proof': { proof: [...inclusion.proof, garbage] },
    'an empty element': { proof: [new Uint8Array(0), ...inclusion.proof.slice(1)] },
    'an element of 31 bytes': { proof: [...inclusion.proof.slice(0, 2), short] },
    'elements in another order': { proof: [...inclusion.proof].reverse() },
    'the index before': { index: 4 },
    'the index behind': { index: 6 },
    'an index of the size': { index: 8 },
    'a negative index': { index: -1 },
    'an index between': { index: 5.5 },
    'no number for an index': { index: Number.NaN },
    'a size that is half': { size: 4 },
    'a size that is double': { size: 16 },
    'no size': { size: 0 },
    'the root of another size': { root: rootOf(7) },
    'the leaf for the root': { root: leaves[5]! },
    'an empty root': { root: new Uint8Array(0) },
    'another leaf': { leaf: leaves[6]! },
    'the input for the leaf hash': { leaf: fromHex(inputs[5]!) },
  }
  it.each(Object.entries(wrong))('rejects %s', (_, change) => {
    expect(verifyInclusion(sha256, { ...inclusion, ...change })).toBe(false)
  })

  it('rejects a path in a tree of one', () => {
    const one = { leaf: leaves[0]!, index: 0, size: 1, root: rootOf(1), proof: [] }
    expect(verifyInclusion(sha256, one)).toBe(true)
    expect(verifyInclusion(sha256, { ...one, proof: [garbage] })).toBe(false)
    expect(verifyInclusion(sha256, { ...one, root: rootOf(2) })).toBe(false)
  })
})

describe('a consistency verifier', () => {
  it('accepts the published proofs', () => {
    const second = {
      first: 2,
      firstRoot: rootOf(2),
      second: 5,
      secondRoot: rootOf(5),
      proof: [nodeE, nodeA].map(fromHex),
    }
    expect(verifyConsistency(sha256, consistency)).toBe(true)
    expect(verifyConsistency(sha256, second)).toBe(true)
  })

  it('accepts equal trees, and any tree as grown from the empty one, by an empty proof alone', () => {
    const equal = { first: 5, firstRoot: rootOf(5), second: 5, secondRoot: rootOf(5), proof: [] }
    const grown = { first: 0, firstRoot: rootOf(0), second: 5, secondRoot: rootOf(5), proof: [] }
    for (const claim of [equal, grown]) {
      expect(verifyConsistency(sha256, claim)).toBe(true)
      expect(verifyConsistency(sha256, { ...claim, proof: [garbage] })).toBe(false)
      expect(verifyConsistency(sha256, { ...claim, firstRoot: garbage })).toBe(false)
    }
    expect(verifyConsistency(sha256, { ...equal, secondRoot: rootOf(4) })).toBe(false)
  })

  const wrong: Record<string, Partial<typeof consistency>> = {
    'a proof that is too short': { proof: consistency.proof.slice(0, 2) },
    'an empty proof': { proof: [] },
    'a proof that is too long': { proof: [...consistency.proof, rootOf(8)] },
    'garbage before the proof': { proof: [garbage, ...consistency.proof] },
    'garbage behind the proof': { proof: [...consistency.proof, garbage] },
    'the old root before the proof': { proof: [rootOf(6), ...consistency.proof] },
    'an element of 31 bytes': { proof: [short, ...consistency.proof.slice(1)] },
    'elements in another order': { proof: [...consistency.proof].reverse() },
    'roots swapped': { firstRoot: rootOf(8), secondRoot: rootOf(6) },
    'the new root twice': { firstRoot: rootOf(8) },
    'the old root twice': { secondRoot: rootOf(6) },
    'sizes swapped': { first: 8, second: 6 },
    'an old size that is one less': { first: 5 },
    'an old size that is one more': { first: 7 },
    'a new size that is one more': { second: 9 },
    'a new size that is double': { second: 16 },
    'a new size that is half': { second: 4 },
    'an old size of none': { first: 0 },
    'a negative size': { first: -1 },
    'a size between': { first: 5.5 },
  }
  it.each(Object.entries(wrong))('rejects %s', (_, change) => {
    expect(verifyConsistency(sha256, { ...consistency, ...change })).toBe(false)
  })

  it('rejects an empty proof even where the old tree is a whole subtree of the new one', () => {
    const claim = { first: 4, firstRoot: rootOf(4), second: 8, secondRoot: rootOf(8) }
    expect(verifyConsistency(sha256, { ...claim, proof: consistencyProof(sha256, { leaves, first: 4 }) })).toBe(true)
    expect(verifyConsistency(sha256, { ...claim, proof: [] })).toBe(false)
    expect(verifyConsistency(sha256, { ...claim, secondRoot: rootOf(4), proof: [] })).toBe(false)
  })
})

it('a proof that leads past the root of its size is rejected, even where it leads to the root claimed', () => {
  const beyond = nodeHash(sha256, { left: garbage, right: rootOf(8) })
  const longer = { ...inclusion, proof: [...inclusion.proof, garbage], root: beyond }
  expect(verifyInclusion(sha256, longer)).toBe(false)
  const firstRoot = nodeHash(sha256, { left: garbage, right: rootOf(6) })
  const grown = { ...consistency, proof: [...consistency.proof, garbage], firstRoot, secondRoot: beyond }
  expect(verifyConsistency(sha256, grown)).toBe(false)
})

// A tree does not hash its size, so a proof is as good for every size at which the path has the same turns.
it('a proof alone does not settle the size, which is why sizes are believed only together with their root', () => {
  expect(verifyInclusion(sha256, { ...inclusion, size: 7 })).toBe(true)
  expect(verifyConsistency(sha256, { ...consistency, second: 7 })).toBe(true)
})
