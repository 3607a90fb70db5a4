// An exported ledger, its heads, answers that were kept and a checkpoint, all changed at random, through the verifier.
import fc from 'fast-check'
import * as z from 'zod'
import { canonicalText, digestPattern, sha256 } from '../../../src/kernel/bytes.ts'
import { verifySignature } from '../../../src/ledger/checkpoint.ts'
import { splitLines } from '../../../src/ledger/index.ts'
import { verifyLedger } from '../../../src/ledger/verify/verify.ts'
import { answerSchema } from '../../../src/runs/index.ts'
import { checkpoint, original, received, runId } from '../../fixtures/stored-ledger.ts'
import { type ByteEdit, byteEdit, editBytes, place, placeIn } from '../arbitraries/byte-edits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { spellJson, type ValueEdit, valueEdit } from '../arbitraries/json-edits.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const words = ['answer', 'frame', 'lay', 'skip', 'stop', 'open', 'sealed', 'none', 'full', 0, 1, 2, '0'.repeat(64)]

const lineEdit = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.record({
      what: fc.constant('value' as const),
      at: place,
      edits: fc.array(valueEdit(words), { minLength: 1, maxLength: 3 }),
    }),
  },
  {
    weight: 3,
    arbitrary: fc.record({
      what: fc.constant('bytes' as const),
      at: place,
      edits: fc.array(byteEdit, { minLength: 1, maxLength: 3 }),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({ what: fc.constantFrom<'drop' | 'repeat' | 'swap'>('drop', 'repeat', 'swap'), at: place }),
  },
  {
    weight: 1,
    arbitrary: fc.record({ what: fc.constant('insert' as const), at: place, text: fc.oneof(hostileText, longText) }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      what: fc.constant('deep' as const),
      at: place,
      depth: fc.constantFrom(100, 20_000, 200_000),
    }),
  },
)

type LineEdit = typeof lineEdit extends fc.Arbitrary<infer T> ? T : never

function editLines(lines: Buffer[], edit: LineEdit): void {
  const i = placeIn(edit.at, lines.length)
  const line = lines[i]
  if (!line) return
  if (edit.what === 'drop') lines.splice(i, 1)
  else if (edit.what === 'repeat') lines.splice(i, 0, line)
  else if (edit.what === 'swap') lines.push(...lines.splice(i, 1))
  else if (edit.what === 'insert') lines.splice(i, 0, Buffer.from(edit.text))
  else if (edit.what === 'deep') lines[i] = Buffer.from(`${'{"body":'.repeat(edit.depth)}1${'}'.repeat(edit.depth)}`)
  else if (edit.what === 'bytes') lines[i] = editBytes(line, edit.edits)
  else if (edit.what === 'value') lines[i] = reshaped(line, edit.edits)
}

// Canonical again where it can be, so that what is wrong is its content.
function reshaped(line: Buffer, values: Extract<LineEdit, { what: 'value' }>['edits']): Buffer {
  try {
    const document = JSON.parse(line.toString()) as unknown
    const bytes = spellJson({ kind: 'edited', base: 0, values, tokens: [], bytes: [] }, [document])
    return Buffer.from(canonicalText(JSON.parse(bytes.toString())))
  } catch {
    return line
  }
}

function changed<T>(value: T, values: readonly ValueEdit[] | undefined): T {
  if (values === undefined) return value
  const bytes = spellJson({ kind: 'edited', base: 0, values, tokens: [], bytes: [] }, [value])
  return JSON.parse(bytes.toString()) as T
}

// As whoever calls the verifier holds them to.
const headsSchema = z.array(z.object({ treeSize: z.int().min(0), root: z.string().regex(digestPattern) }))
const answersSchema = z.array(
  answerSchema
    .partial()
    .required({ frame: true, cell: true, ledgerIndex: true, treeSize: true, root: true, decision: true })
    .loose(),
)

/** Small chunks are costly to hand over, and what is meant to be tried is not that. */
const chunksMax = 20_000

async function* chunked(bytes: Buffer, size: number): AsyncGenerator<Uint8Array> {
  for (let at = 0; at < bytes.length; at += size) yield bytes.subarray(at, at + size)
}

const changedText = fc.oneof(
  { weight: 3, arbitrary: fc.constant(undefined) },
  { weight: 2, arbitrary: fc.array(byteEdit, { minLength: 1, maxLength: 3 }) },
  { weight: 1, arbitrary: fc.oneof(hostileText, longText) },
)

const apply = (text: string, change: readonly ByteEdit[] | string | undefined): string => {
  if (change === undefined) return text
  return typeof change === 'string' ? change : editBytes(Buffer.from(text), change).toString()
}

export const ledgersTarget = defineTarget({
  name: 'ledgers',
  module: import.meta.url,
  about:
    'exported ledgers with heads, answers and checkpoints: a verdict, and a changed ledger never passes against its heads',
  bounds: { caseCpuMsMax: 2_000, growthMiBMax: 384 },
  cases: { short: 600, long: 6_000 },
  arbitrary: fc.record({
    lines: fc.array(lineEdit, { maxLength: 4 }),
    chunk: fc.constantFrom(1, 7, 100, 65_536),
    heads: fc.oneof(
      { weight: 3, arbitrary: fc.constant(undefined) },
      { weight: 1, arbitrary: fc.array(valueEdit(words), { minLength: 1, maxLength: 2 }) },
    ),
    answers: fc.oneof(
      { weight: 3, arbitrary: fc.constant(undefined) },
      { weight: 1, arbitrary: fc.array(valueEdit(words), { maxLength: 3 }) },
    ),
    checkpoint: changedText,
    key: changedText,
    withCheckpoint: fc.boolean(),
  }),
  meets: ['verifies', 'checkpoint-bad', 'wrong: not-canonical', 'wrong: head'],
  async open() {
    const sound = original()
    const whole = Buffer.concat(sound.rows.flatMap(({ bytes }) => [Buffer.from(bytes), Buffer.from('\n')]))
    const kept = received(sound)
    const { text, key } = checkpoint(sound.rows.length)
    return {
      run: (one) =>
        answerOf(async () => {
          const rows = sound.rows.map(({ bytes }) => Buffer.from(bytes))
          for (const edit of one.lines) editLines(rows, edit)
          const bytes = Buffer.concat(rows.flatMap((row) => [row, Buffer.from('\n')]))
          const heads = changed(sound.heads, one.heads)
          const answers = one.answers === undefined ? [] : changed(kept, one.answers)
          if (!headsSchema.safeParse(heads).success || !answersSchema.safeParse(answers).success) return 'off the wire'
          const result = await verifyLedger({
            lines: splitLines(chunked(bytes, Math.max(one.chunk, Math.ceil(bytes.length / chunksMax)))),
            sha256,
            runId,
            heads,
            answers,
            ...(one.withCheckpoint
              ? { witnesses: [{ text: apply(text, one.checkpoint), key: apply(key, one.key) }], verifySignature }
              : {}),
          })
          if (!result.ok) {
            const { index, code, why } = result.firstWrong
            holds(Number.isSafeInteger(index) && index >= 0, `the first wrong entry is ${index}`)
            holds(why.length < 4_000, `a fault says ${why.length} characters`)
            return `wrong: ${code}`
          }
          holds(one.heads !== undefined || bytes.equals(whole), 'a changed ledger agrees with its heads')
          return 'verifies'
        }),
      close: async () => undefined,
    }
  },
})
