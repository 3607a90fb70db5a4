// Proofs for single entries of a stored ledger, and reading a ledger by pages.
import { beforeEach, describe, expect, it } from 'vitest'
import { MemoryLedger } from '../../tests/fixtures/memory-ledger.ts'
import { countingRandom, heldClock, sampleRun } from '../../tests/fixtures/sample-entries.ts'
import { sha256 } from '../kernel/bytes.ts'
import { leafHash } from './merkle.ts'
import { verifyInclusion } from './proofs.ts'
import { proveEntry } from './prove-entry.ts'
import { readEntries, storedLines } from './read.ts'
import { verifyLedger } from './verify/verify.ts'
import { openLedgerWriter } from './writer.ts'

let database: MemoryLedger
const { batches } = sampleRun(250)

beforeEach(async () => {
  database = new MemoryLedger()
  const ledger = await openLedgerWriter({ database, clock: heldClock(), random: countingRandom() }).open('A', 1)
  for (const drafts of batches) await ledger.append(drafts).durable
})
const size = batches.flat().length
const fromHex = (hex: string): Uint8Array => Buffer.from(hex, 'hex')

describe('a proof for one entry', () => {
  it.each([0, 1, 700, 1_023, 1_024, size - 1])(
    'shows entry %d under the last head, from its bytes alone',
    async (index) => {
      const proof = await proveEntry(database, { runId: 'A', index })
      const { treeSize, root } = (await database.ledgerHead('A'))!
      expect(proof).toMatchObject({ index, treeSize, root })
      const claim = { index, size: treeSize, root: fromHex(root), proof: proof.path.map(fromHex) }
      expect(verifyInclusion(sha256, { ...claim, leaf: leafHash(sha256, proof.bytes) })).toBe(true)
      expect(verifyInclusion(sha256, { ...claim, leaf: leafHash(sha256, proof.bytes.slice(1)) })).toBe(false)
    },
  )

  it.each([-1, size, size + 5])('is refused for entry %d, which is not there', async (index) => {
    await expect(proveEntry(database, { runId: 'A', index })).rejects.toMatchObject({ code: 'not-found' })
  })

  it('is refused for a run that has no entries', async () => {
    await expect(proveEntry(database, { runId: 'B', index: 0 })).rejects.toMatchObject({ code: 'not-found' })
  })

  it('is refused when the bytes, another leaf or the head was edited', async () => {
    const { rows, heads } = database.run('A')
    for (const edited of [rows[9]!.bytes, rows[800]!.leaf]) {
      edited[3]! ^= 1
      await expect(proveEntry(database, { runId: 'A', index: 9 })).rejects.toMatchObject({ code: 'ledger-bad' })
      edited[3]! ^= 1
    }
    heads.push({ ...heads.at(-1)!, root: heads[0]!.root })
    await expect(proveEntry(database, { runId: 'A', index: 9 })).rejects.toMatchObject({ code: 'ledger-bad' })
  })
})

describe('reading entries', () => {
  it('gives all of them in order, over page boundaries', async () => {
    const bodies = []
    for await (const { body } of readEntries(database, { runId: 'A' })) bodies.push(body)
    expect(bodies).toEqual(batches.flat().map(({ body }) => body))
  })

  it('gives the range asked for', async () => {
    const indices = []
    for await (const { index } of readEntries(database, { runId: 'A', from: 1_020, to: 1_030 })) indices.push(index)
    expect(indices).toEqual(Array.from({ length: 10 }, (_, i) => 1_020 + i))
  })

  it('ends with a Problem at bytes that are no entry', async () => {
    database.run('A').rows[3]!.bytes[0] = 0
    const read = async () => {
      for await (const _ of readEntries(database, { runId: 'A' }));
    }
    await expect(read()).rejects.toMatchObject({ code: 'ledger-bad' })
  })

  it('gives lines with the leaf hashes stored beside them', async () => {
    let index = 0
    for await (const { bytes, leaf } of storedLines(database, 'A')) {
      expect(Buffer.from(leaf)).toEqual(Buffer.from(leafHash(sha256, bytes)))
      index += 1
    }
    expect(index).toBe(size)
  })

  it('gives lines up to a head, whatever was appended since', async () => {
    const { treeSize, root } = database.run('A').heads[2]!
    const result = await verifyLedger({
      lines: storedLines(database, 'A', treeSize),
      heads: database.run('A').heads.slice(0, 3),
      sha256,
    })
    expect(result).toMatchObject({ ok: true, entries: treeSize, root })
  })
})
