// Splitting an exported ledger into lines without touching a byte.
import fc from 'fast-check'
import { expect, it } from 'vitest'
import { splitLines } from './split-lines.ts'

async function* inChunks(bytes: Uint8Array, chunkBytes: number): AsyncGenerator<Uint8Array> {
  for (let from = 0; from < bytes.length; from += chunkBytes) yield bytes.subarray(from, from + chunkBytes)
}
async function linesOf(bytes: Uint8Array, chunkBytes: number): Promise<string[]> {
  const lines: string[] = []
  for await (const line of splitLines(inChunks(bytes, chunkBytes))) lines.push(Buffer.from(line).toString('hex'))
  return lines
}

it('splits at newlines alone and keeps every other byte, however the chunks fall', async () => {
  const byte = fc.oneof(fc.constant(10), fc.constant(13), fc.nat(255))
  await fc.assert(
    fc.asyncProperty(fc.array(byte, { maxLength: 60 }), fc.integer({ min: 1, max: 20 }), async (bytes, chunkBytes) => {
      const lines = await linesOf(Uint8Array.from(bytes), chunkBytes)
      const hex = lines.join('0a')
      const whole = Buffer.from(bytes).toString('hex')
      expect(whole.endsWith('0a') && bytes.at(-1) === 10 ? `${hex}0a` : hex).toBe(whole)
      for (const line of lines) expect([...Buffer.from(line, 'hex')]).not.toContain(10)
    }),
  )
})

it('gives empty lines, and the last line with and without a newline', async () => {
  expect(await linesOf(Buffer.from('a\n\nb\n'), 2)).toEqual(['61', '', '62'])
  expect(await linesOf(Buffer.from('a\nb'), 9)).toEqual(['61', '62'])
  expect(await linesOf(Buffer.from(''), 9)).toEqual([])
})
