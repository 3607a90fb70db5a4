// The verifier on a ledger that was edited, cut or reordered, with what the database itself still knows of it.
import { describe, expect, it } from 'vitest'
import { cellsPerFrame } from '../../../tests/fixtures/sample-entries.ts'
import {
  answerIndex,
  checkpoint,
  database,
  edited,
  entryOf,
  exported,
  original,
  received,
  renumbered,
  rewritten,
  rootAt,
  rowOf,
  runId,
  verify,
} from '../../../tests/fixtures/stored-ledger.ts'
import { sha256, sha256Hex } from '../../kernel/bytes.ts'
import { verifySignature } from '../checkpoint.ts'
import { storedLines } from '../read.ts'
import { verifyLedger } from './verify.ts'

describe('a ledger as it was written', () => {
  it('verifies against its heads, a witness and every answer received', async () => {
    const copy = original()
    const answers = received(copy)
    const size = copy.rows.length
    expect(answers).toHaveLength(12 * cellsPerFrame)
    expect(await verify(copy, { runId, answers, witnesses: [checkpoint(20), checkpoint(size)] })).toEqual({
      ok: true,
      entries: size,
      root: copy.heads.at(-1)?.root,
      state: 'sealed',
      sealed: true,
      compared: { heads: 17, witnesses: 2, answers: 48 },
    })
  })

  it('verifies from the lines alone, and says that nothing was compared', async () => {
    const { rows } = original()
    const result = await verifyLedger({ lines: exported(rows), sha256 })
    expect(result).toMatchObject({
      ok: true,
      root: rootAt(rows, rows.length),
      compared: { heads: 0, witnesses: 0, answers: 0 },
    })
  })

  it('verifies as it streams from the database, with the stored leaf hashes', async () => {
    const lines = storedLines(database, runId)
    expect(await verifyLedger({ lines, heads: original().heads, sha256 })).toMatchObject({ ok: true, sealed: true })
  })

  it('verifies at every commit on the way, unsealed', async () => {
    const { rows, heads } = original()
    for (const [i, { treeSize, root }] of heads.entries()) {
      const partial = { rows: rows.slice(0, treeSize), heads: heads.slice(0, i + 1) }
      expect(await verify(partial)).toMatchObject({
        ok: true,
        entries: treeSize,
        root,
        sealed: treeSize === rows.length,
      })
    }
  })

  it('verifies when it is empty', async () => {
    const empty = { ok: true, entries: 0, root: sha256Hex(''), state: undefined, sealed: false }
    expect(await verifyLedger({ lines: [], heads: [], sha256 })).toMatchObject(empty)
    expect(
      await verifyLedger({ lines: [], heads: [], witnesses: [checkpoint(0)], verifySignature, sha256 }),
    ).toMatchObject(empty)
  })

  it('takes a later epoch, after the run was opened again', async () => {
    const copy = original()
    const rows = copy.rows.map((row, i) => (i < 30 ? row : rowOf({ ...entryOf(row), epoch: 4 })))
    expect(await verify(rewritten({ ...copy, rows }))).toMatchObject({ ok: true })
  })
})

describe('an edited entry', () => {
  it('with one byte changed is named by its stored leaf hash', async () => {
    const { rows, heads } = original()
    const at = Buffer.from(rows[17]!.bytes).indexOf('zitrone')
    rows[17]!.bytes[at] = 'Z'.charCodeAt(0)
    const result = await verifyLedger({ lines: rows, heads, sha256 })
    expect(result).toMatchObject({ ok: false, firstWrong: { index: 17, code: 'leaf' }, entries: 17 })
  })

  it('with one byte changed in an export is named when it no longer is a canonical entry', async () => {
    const copy = original()
    for (const [text, code] of [
      ['{', 'not-canonical'],
      ['"salt"', 'shape'],
      ['"lay"', 'shape'],
    ] as const) {
      const bytes = Uint8Array.from(copy.rows[17]!.bytes)
      bytes[Buffer.from(bytes).indexOf(text) + 1] = 'z'.charCodeAt(0)
      const rows = copy.rows.with(17, { ...copy.rows[17]!, bytes })
      expect(await verify({ ...copy, rows })).toMatchObject({ ok: false, firstWrong: { index: 17, code } })
    }
  })

  it('in canonical form again is narrowed down to the commit that it was in', async () => {
    const copy = original()
    const index = answerIndex(copy, 5, 2)
    copy.rows[index] = edited(copy.rows[index], { decision: 'skip', layers: [] })
    const from = copy.heads.findLast(({ treeSize }) => treeSize <= index)!.treeSize
    const to = copy.heads.find(({ treeSize }) => treeSize > index)!.treeSize
    const result = await verify(copy)
    expect(result).toMatchObject({ ok: false, firstWrong: { index: from, to, code: 'head' }, agreedTo: from })
    expect(to - from).toBe(6)
  })

  it('that contradicts others is narrowed down to what lies between the last commit that agrees and the contradiction', async () => {
    const copy = original()
    const frame = copy.rows.findIndex((row) => entryOf(row).type === 'reads') - 1
    copy.rows[frame] = edited(copy.rows[frame], { capture: sha256Hex('another picture') })
    const { treeSize } = copy.heads.findLast((head) => head.treeSize <= frame)!
    expect(await verify(copy)).toMatchObject({
      ok: false,
      firstWrong: { index: treeSize, to: frame + 2, code: 'reads', why: expect.stringContaining(`entry ${frame + 1}`) },
      agreedTo: treeSize,
    })
    // With nothing to compare, only the contradiction itself is known.
    const alone = await verifyLedger({ lines: exported(copy.rows), sha256 })
    expect(alone).toMatchObject({ ok: false, firstWrong: { index: frame + 1, code: 'reads' }, entries: frame + 1 })
  })

  it('that contradicts others and was committed so is named itself', async () => {
    const copy = original()
    const frame = copy.rows.findIndex((row) => entryOf(row).type === 'reads') - 1
    copy.rows[frame] = edited(copy.rows[frame], { capture: sha256Hex('another picture') })
    const result = await verify(rewritten(copy))
    expect(result).toMatchObject({ ok: false, firstWrong: { index: frame + 1, code: 'reads' }, entries: frame + 1 })
    if (!result.ok) expect(result.firstWrong.to).toBeUndefined()
    // A witness tells what the rewritten heads hide: the entry before may be the wrong one.
    const witnessed = await verify(rewritten(copy), { witnesses: [checkpoint(frame), checkpoint(copy.rows.length)] })
    expect(witnessed).toMatchObject({ ok: false, firstWrong: { index: frame, to: frame + 2, code: 'reads' } })
  })

  it('in a commit of its own is named by that commit', async () => {
    const copy = original()
    const index = copy.rows.findIndex((row) => entryOf(row).type === 'material')
    copy.rows[index] = edited(copy.rows[index], { note: 'no splice' })
    const result = await verify(copy)
    expect(result).toEqual({
      ok: false,
      firstWrong: { index, code: 'head', why: expect.stringContaining('the commit') },
      entries: index + 1,
      agreedTo: index,
    })
  })

  it('whatever bit of whatever byte was flipped, never verifies and is not blamed on a later entry', async () => {
    const { rows, heads } = original()
    const lengths = rows.map(({ bytes }) => bytes.length)
    const total = lengths.reduce((a, b) => a + b)
    for (let bit = 0; bit < total * 8; bit += 1_009) {
      let [index, offset] = [0, bit >> 3]
      while (offset >= lengths[index]!) offset -= lengths[index++]!
      const bytes = Uint8Array.from(rows[index]!.bytes)
      bytes[offset]! ^= 1 << (bit & 7)
      const result = await verify({ rows: rows.with(index, { ...rows[index]!, bytes }), heads })
      if (result.ok || result.firstWrong.index > index)
        expect.fail(`bit ${bit & 7} of byte ${offset} of entry ${index}: ${JSON.stringify(result)}`)
    }
  })
})

describe('missing and moved entries', () => {
  it('a removed last entry is a cut', async () => {
    const copy = original()
    copy.rows.pop()
    const size = copy.rows.length
    expect(await verify(copy)).toMatchObject({ ok: false, firstWrong: { index: size, code: 'cut' }, entries: size })
  })

  it('a removed entry in the middle is named by the index that follows', async () => {
    const copy = original()
    copy.rows.splice(23, 1)
    expect(await verify(copy)).toMatchObject({ ok: false, firstWrong: { index: 23, code: 'index', why: /24.*23/ } })
  })

  it('a removed entry in the middle shows by the heads when the rest was numbered anew', async () => {
    const copy = original()
    const index = copy.rows.findIndex((row) => entryOf(row).type === 'material')
    copy.rows = renumbered(copy.rows.toSpliced(index, 1))
    const result = await verify(copy)
    expect(result).toMatchObject({ ok: false, firstWrong: { code: 'head' } })
    if (!result.ok) expect(result.firstWrong.index).toBeLessThanOrEqual(index)
  })

  it('two entries that were swapped are named at the first', async () => {
    const copy = original()
    const [a, b] = [copy.rows[20]!, copy.rows[21]!]
    copy.rows.splice(20, 2, b, a)
    expect(await verify(copy)).toMatchObject({ ok: false, firstWrong: { index: 20, code: 'index' } })
  })

  it('two answers that were swapped and numbered anew show by the head of their commit', async () => {
    const copy = original()
    const index = answerIndex(copy, 3, 1)
    const [a, b] = [copy.rows[index]!, copy.rows[index + 1]!]
    copy.rows = renumbered(copy.rows.toSpliced(index, 2, b, a))
    const result = await verify(copy)
    expect(result).toMatchObject({ ok: false, firstWrong: { code: 'head' } })
    if (!result.ok) {
      expect(result.firstWrong.index).toBeLessThanOrEqual(index)
      expect(result.firstWrong.to).toBeGreaterThan(index)
    }
  })

  it('an added entry is not covered by any commit', async () => {
    const copy = original()
    copy.rows = copy.rows.slice(0, 30)
    copy.heads = copy.heads.filter(({ treeSize }) => treeSize <= 25)
    const last = copy.heads.at(-1)!.treeSize
    expect(await verify(copy)).toMatchObject({
      ok: false,
      firstWrong: { index: last, to: 30, code: 'uncovered' },
      agreedTo: last,
    })
  })
})
