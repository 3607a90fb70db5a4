import { beforeAll, describe, expect, it } from 'vitest'
import { MemoryLedger } from '../../../tests/fixtures/memory-ledger.ts'
import { cellsPerFrame, countingRandom, heldClock, sampleRun } from '../../../tests/fixtures/sample-entries.ts'
import { canonicalText, sha256, sha256Hex } from '../../kernel/bytes.ts'
import { signCheckpoint, verifySignature } from '../checkpoint.ts'
import type { Entry, EntryBodies } from '../entries.ts'
import { signingKeyOf } from '../keys.ts'
import { leafHash, rootOfLeaves } from '../merkle.ts'
import { storedLines } from '../read.ts'
import { openLedgerWriter } from '../writer.ts'
import type { ReceivedAnswer } from './received.ts'
import { type VerifyInput, type VerifyResult, verifyLedger } from './verify.ts'

// A sealed run of 12 frames, committed in 17 batches, as it lies in the database.
interface Stored {
  readonly bytes: Uint8Array
  readonly leaf: Uint8Array
}
interface Copy {
  rows: Stored[]
  heads: { treeSize: number; root: string }[]
}

const key = signingKeyOf(sha256('installation'))
const runId = 'T-7.1'
const database = new MemoryLedger()
beforeAll(async () => {
  const parts = { database, clock: heldClock(), random: countingRandom() }
  const ledger = await openLedgerWriter(parts).open(runId, 3)
  for (const drafts of sampleRun(12).batches) await ledger.append(drafts).durable
})

const original = (): Copy => structuredClone({ rows: database.run(runId).rows, heads: database.run(runId).heads })
const rootAt = (rows: readonly Stored[], size: number): string =>
  Buffer.from(
    rootOfLeaves(
      sha256,
      rows.slice(0, size).map(({ bytes }) => leafHash(sha256, bytes)),
    ),
  ).toString('hex')

/** Bytes alone, as in an exported file. */
const exported = (rows: readonly Stored[]): readonly Uint8Array[] => rows.map(({ bytes }) => bytes)
const verify = (copy: Copy, more: Partial<VerifyInput> = {}): Promise<VerifyResult> =>
  verifyLedger({ lines: exported(copy.rows), heads: copy.heads, sha256, verifySignature, ...more })

const entryOf = (row: Stored | undefined): Entry => JSON.parse(Buffer.from(row!.bytes).toString()) as Entry
const rowOf = (entry: unknown): Stored => {
  const bytes = Buffer.from(canonicalText(entry))
  return { bytes, leaf: leafHash(sha256, bytes) }
}
/** The entry with changed content, its bytes canonical and its leaf hash right again. */
const edited = (row: Stored | undefined, body: object, more: object = {}): Stored => {
  const entry = entryOf(row)
  return rowOf({ ...entry, ...more, body: { ...entry.body, ...body } })
}
const renumbered = (rows: readonly Stored[]): Stored[] => rows.map((row, index) => rowOf({ ...entryOf(row), index }))
/** Heads at the same sizes, as somebody would write them who changed the entries and has the whole database. */
const rewritten = (copy: Copy): Copy => {
  const heads = copy.heads.filter(({ treeSize }) => treeSize <= copy.rows.length)
  if (heads.at(-1)?.treeSize !== copy.rows.length) heads.push({ treeSize: copy.rows.length, root: '' })
  return { rows: copy.rows, heads: heads.map(({ treeSize }) => ({ treeSize, root: rootAt(copy.rows, treeSize) })) }
}

const checkpoint = (size: number, of = runId) => ({
  text: signCheckpoint(key, { runId: of, treeSize: size, root: rootAt(original().rows, size) as never }),
  key: key.verifierKey,
})

/** The answers as a controller got them (DESIGN §6), each with the head of its batch. */
function received(copy: Copy): ReceivedAnswer[] {
  return copy.rows.flatMap((row) => {
    const entry = entryOf(row)
    if (entry.type !== 'answer') return []
    const { body, index } = entry
    const head = copy.heads.find(({ treeSize }) => treeSize > index)!
    const { noReturnUm, identity, layers, setup: _, ...plain } = body
    const onApi = layers.map(({ placement: { leftUm, topUm, widthUm, heightUm }, ...layer }) => ({
      ...layer,
      placement: { leftMm: leftUm / 1e3, topMm: topUm / 1e3, widthMm: widthUm / 1e3, heightMm: heightUm / 1e3 },
    }))
    return [
      {
        ...plain,
        ...head,
        runId,
        ledgerIndex: index,
        identity: identity ?? null,
        layers: onApi,
        noReturnMm: noReturnUm / 1e3,
      },
    ]
  })
}
const answerIndex = (copy: Copy, frame: number, cell: number): number =>
  copy.rows.findIndex((row) => {
    const { type, body } = entryOf(row)
    return type === 'answer' && body.frame === frame && body.cell === cell
  })

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

describe('against a witness', () => {
  it('a tail that was rolled back together with its heads is a cut', async () => {
    const { rows, heads } = original()
    const size = heads[9]!.treeSize
    const copy = { rows: rows.slice(0, size), heads: heads.slice(0, 10) }
    expect(await verify(copy)).toMatchObject({ ok: true })
    const result = await verify(copy, { witnesses: [checkpoint(rows.length)] })
    expect(result).toMatchObject({
      ok: false,
      firstWrong: { index: size, to: rows.length, code: 'cut', why: /witnessed/ },
    })
  })

  it('a rolled-back tail that grew again differently is rewritten', async () => {
    const { rows, heads } = original()
    const size = heads[9]!.treeSize
    const tail = rows.slice(size).map((row) => rowOf({ ...entryOf(row), atMs: 5 }))
    const copy = rewritten({ rows: [...rows.slice(0, size), ...tail], heads })
    expect(await verify(copy)).toMatchObject({ ok: true })
    const result = await verify(copy, { witnesses: [checkpoint(size), checkpoint(rows.length)] })
    expect(result).toMatchObject({
      ok: false,
      firstWrong: { index: size, to: rows.length, code: 'rewritten' },
      agreedTo: rows.length,
    })
  })

  it('a ledger that was rewritten and signed again as a whole is rewritten', async () => {
    const copy = original()
    const index = answerIndex(copy, 5, 2)
    copy.rows[index] = edited(copy.rows[index], { decision: 'skip', layers: [] })
    const forged = rewritten(copy)
    const resigned = {
      text: signCheckpoint(key, { runId, treeSize: forged.rows.length, root: forged.heads.at(-1)!.root as never }),
      key: key.verifierKey,
    }
    expect(await verify(forged, { witnesses: [resigned] })).toMatchObject({ ok: true })
    const result = await verify(forged, { witnesses: [resigned, checkpoint(forged.rows.length)] })
    expect(result).toMatchObject({ ok: false, firstWrong: { index: 0, to: forged.rows.length, code: 'rewritten' } })
  })

  it('earlier checkpoints narrow the rewritten entries down', async () => {
    const copy = original()
    copy.rows[40] = rowOf({ ...entryOf(copy.rows[40]), atMs: 5 })
    const witnesses = [checkpoint(60), checkpoint(39), checkpoint(44)]
    expect(await verify(rewritten(copy), { witnesses })).toMatchObject({
      ok: false,
      firstWrong: { index: 39, to: 44, code: 'rewritten' },
    })
  })

  it('a checkpoint of another run or key, or none at all, is no evidence and is refused', async () => {
    const size = original().rows.length
    const refused = [
      checkpoint(size, 'T-8.1'),
      { ...checkpoint(size), key: signingKeyOf(sha256('other')).verifierKey },
      { ...checkpoint(size), text: checkpoint(size).text.replace(`\n${size}\n`, `\n${size + 1}\n`) },
      { ...checkpoint(size), text: '' },
    ]
    for (const witness of refused) {
      await expect(verify(original(), { runId, witnesses: [witness] })).rejects.toMatchObject({
        code: 'checkpoint-bad',
      })
    }
  })
})

describe('against answers received', () => {
  const changes: Record<string, Partial<EntryBodies['answer']>> = {
    frame: { frame: 4 },
    cell: { cell: 3 },
    decision: { decision: 'stop' },
    place: { place: 77 },
    flags: { flags: ['low-quality'] },
    identity: { identity: { job: 'J1001', design: 'zitrone', text: 'x', version: 3 } },
    layers: { layers: [] },
    rotateDeg: { rotateDeg: 270 },
    noReturnMm: { noReturnUm: 5 },
    setup: { setup: 1 },
  }

  it.each(Object.keys(changes))(
    'an edited %s is named at the entry, even when all heads were rewritten',
    async (field) => {
      const copy = original()
      const answers = received(copy).map((answer) => ({ setup: false, ...answer }))
      const index = answerIndex(copy, 5, 2)
      const change = changes[field]!
      // The frame or cell of an answer cannot change alone without breaking another rule; drop the answer that it collides with.
      const others = copy.rows.filter((row, i) => {
        const { type, body } = entryOf(row)
        return (
          i === index || type !== 'answer' || body.frame !== (change.frame ?? 5) || body.cell !== (change.cell ?? 2)
        )
      })
      const at = others.indexOf(copy.rows[index]!)
      others[at] = edited(others[at], change)
      const rows = renumbered(others)
      const own = answers.find((answer) => answer.ledgerIndex === index)!
      const kept = { ...own, ledgerIndex: at, treeSize: rows.length, root: rootAt(rows, rows.length) }
      const result = await verifyLedger({ lines: exported(rows), sha256, answers: [kept] })
      expect(result).toMatchObject({
        ok: false,
        firstWrong: { index: at, code: 'answer-changed', why: expect.stringContaining(field) },
      })
    },
  )

  it('an edited layer is named at the entry, whichever of its fields it was', async () => {
    const answers = received(original())
    const index = answerIndex(original(), 5, 2)
    const [layer] = (entryOf(original().rows[index]).body as EntryBodies['answer']).layers
    const { placement } = layer!
    const edits = [
      { digest: sha256Hex('other') },
      { station: 'flexo' },
      { order: 2 },
      { layer: 'gloss' },
      { scope: 'frame' as const },
      { placement: { ...placement, leftUm: placement.leftUm + 1 } },
      { placement: { ...placement, topUm: 1 } },
      { placement: { ...placement, widthUm: 1 } },
      { placement: { ...placement, heightUm: 1 } },
    ]
    for (const edit of edits) {
      const copy = original()
      copy.rows[index] = edited(copy.rows[index], { layers: [{ ...layer!, ...edit }] })
      const result = await verify(rewritten(copy), { answers })
      expect(result).toMatchObject({ ok: false, firstWrong: { index, code: 'answer-changed', why: /layers/ } })
    }
  })

  it('an identity that was taken away, and one that was added, are named', async () => {
    const copy = original()
    const index = answerIndex(copy, 5, 2)
    const answers = received(copy)
    const { identity: _, ...body } = entryOf(copy.rows[index]).body as EntryBodies['answer']
    const bare = rewritten({ ...copy, rows: copy.rows.with(index, rowOf({ ...entryOf(copy.rows[index]), body })) })
    expect(await verify(bare, { answers })).toMatchObject({ ok: false, firstWrong: { index, why: /identity/ } })
    const nameless = answers.map((answer) => (answer.ledgerIndex === index ? { ...answer, identity: null } : answer))
    expect(await verify(copy, { answers: nameless })).toMatchObject({
      ok: false,
      firstWrong: { index, why: /identity/ },
    })
  })

  it('an answer that somebody edited on the way does not match either', async () => {
    const copy = original()
    const [first, ...others] = received(copy)
    const result = await verify(copy, { answers: [...others, { ...first!, decision: 'skip' }] })
    expect(result).toMatchObject({
      ok: false,
      firstWrong: { index: first?.ledgerIndex, code: 'answer-changed', why: /decision/ },
    })
  })

  it('needs only what was kept of an answer', async () => {
    const answers = received(original()).map(({ ledgerIndex, treeSize, root, frame, cell, decision }) => {
      return { ledgerIndex, treeSize, root, frame, cell, decision }
    })
    expect(await verify(original(), { answers })).toMatchObject({ ok: true })
  })

  it('an answer under another root than the ledger had at its size is rewritten', async () => {
    const copy = original()
    const answers = received(copy).map((answer, i) => (i === 9 ? { ...answer, root: sha256Hex('elsewhere') } : answer))
    const result = await verify(copy, { answers })
    const { treeSize } = answers[9]!
    expect(result).toMatchObject({
      ok: false,
      firstWrong: { code: 'rewritten', to: treeSize, why: /the answer to frame/ },
    })
  })

  it('an answer behind the end is a cut', async () => {
    const { rows, heads } = original()
    const answers = received({ rows, heads })
    const size = heads[6]!.treeSize
    const copy = { rows: rows.slice(0, size), heads: heads.slice(0, 7) }
    expect(await verify(copy, { answers })).toMatchObject({ ok: false, firstWrong: { index: size, code: 'cut' } })
  })

  it('an answer to an entry of another type is named', async () => {
    const [first] = received(original())
    const result = await verify(original(), { answers: [{ ...first!, ledgerIndex: 0 }] })
    expect(result).toMatchObject({ ok: false, firstWrong: { index: 0, code: 'answer-changed', why: /type step/ } })
  })

  it.each([-1, 1.5, Number.NaN, 60, 61])(
    'an answer that names entry %d of a tree of 60 was never given',
    async (ledgerIndex) => {
      const [first] = received(original())
      const odd = { ...first!, ledgerIndex, treeSize: 60, root: rootAt(original().rows, 60) }
      expect(await verify(original(), { answers: [odd] })).toMatchObject({
        ok: false,
        firstWrong: { code: 'answer-changed' },
      })
    },
  )
})
