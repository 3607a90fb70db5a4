// An exported ledger as lines of bytes. They are never decoded on the way: a byte that is no text must reach the verifier as it is.
import { Problem } from '../../kernel/problem.ts'

const newline = 0x0a
/** The first entry carries all that a run was opened with; nothing comes near this. */
const lineBytesMax = 256 * 1024 * 1024

/** The lines of a file, each without its newline. Problem `ledger-bad` for a line that cannot be an entry by its length. */
export async function* splitLines(chunks: AsyncIterable<Uint8Array>): AsyncGenerator<Uint8Array> {
  let parts: Uint8Array[] = []
  // Counted as they come: chunks may be as small as they like.
  let length = 0
  for await (const chunk of chunks) {
    let from = 0
    for (let end = chunk.indexOf(newline); end >= 0; end = chunk.indexOf(newline, from)) {
      parts.push(chunk.subarray(from, end))
      yield joined(parts, length + end - from)
      parts = []
      length = 0
      from = end + 1
    }
    if (from < chunk.length) parts.push(chunk.subarray(from))
    length += chunk.length - from
    if (length > lineBytesMax) throw new Problem('ledger-bad', 'a line is longer than any entry')
  }
  if (parts.length > 0) yield joined(parts, length)
}

function joined(parts: readonly Uint8Array[], length: number): Uint8Array {
  const [only] = parts
  if (parts.length === 1 && only !== undefined) return only
  const bytes = new Uint8Array(length)
  let at = 0
  for (const part of parts) {
    bytes.set(part, at)
    at += part.length
  }
  return bytes
}
