// The verifier against what others kept: checkpoints of a witness, and answers as a controller received them.
import { describe, expect, it } from 'vitest'
import {
  answerIndex,
  checkpoint,
  edited,
  entryOf,
  exported,
  key,
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
import { signCheckpoint } from '../checkpoint.ts'
import type { EntryBodies } from '../entries.ts'
import { signingKeyOf } from '../keys.ts'
import { verifyLedger } from './verify.ts'

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

  it('a checkpoint from before the first entry agrees with any ledger, under the empty root alone', async () => {
    expect(await verify(original(), { witnesses: [checkpoint(0)] })).toMatchObject({ ok: true })
    const text = signCheckpoint(key, { runId, treeSize: 0, root: sha256Hex('not empty') })
    for (const copy of [original(), { rows: [], heads: [] }]) {
      const result = await verify(copy, { witnesses: [{ text, key: key.verifierKey }] })
      expect(result).toMatchObject({
        ok: false,
        firstWrong: { index: 0, code: 'rewritten', why: /empty ledger/ },
        entries: 0,
      })
    }
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

  it('an identity that lost or gained a field is named', async () => {
    const copy = original()
    const index = answerIndex(copy, 5, 2)
    const answers = received(copy)
    const { serial, ...unserialled } = answers.find((answer) => answer.ledgerIndex === index)?.identity ?? {}
    for (const identity of [
      unserialled,
      { ...unserialled, serial, also: 'x' },
      { ...unserialled, serial, version: 9 },
    ]) {
      const changed = answers.map((answer) => {
        return answer.ledgerIndex === index ? { ...answer, identity } : answer
      })
      const result = await verify(copy, { answers: changed })
      expect(result).toMatchObject({ ok: false, firstWrong: { index, code: 'answer-changed', why: /identity/ } })
    }
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
