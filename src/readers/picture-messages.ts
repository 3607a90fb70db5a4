// Pictures as they come over a socket: four bytes with the length of a JSON header (big-endian), the header, the picture. One at a time,
// and nothing is read on while one is being taken.
import * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { firstOf, schemaFindings } from '../kernel/schema-findings.ts'

const headerSchema = z.strictObject({
  frame: z.int().min(0).max(Number.MAX_SAFE_INTEGER),
  positionMm: z.number().min(-limits.positionMmMax).max(limits.positionMmMax),
  bytes: z.int().min(1).max(limits.captureBytesMax),
  mediaType: z.string().max(100),
})

export type PictureHeader = z.infer<typeof headerSchema>

export interface StreamedPicture extends PictureHeader {
  readonly picture: Uint8Array
}

const headerBytesMax = 4_096

/** Problem `bad-request` for what is no header: what follows cannot be made out any more. */
function parseHeader(bytes: Uint8Array): PictureHeader {
  let value: unknown
  try {
    value = JSON.parse(Buffer.from(bytes).toString('utf8'))
  } catch {
    throw new Problem('bad-request', 'the header of a picture is not JSON')
  }
  const parsed = headerSchema.safeParse(value)
  if (parsed.success) return parsed.data
  const findings = schemaFindings(parsed.error, value, 'bad-request')
  throw new Problem('bad-request', `the header of a picture does not fit: ${firstOf(findings)}`, { findings })
}

// Exactly so many bytes of a stream; undefined at its end. Holds what came beyond.
class Taker {
  private readonly chunks: AsyncIterator<Uint8Array>
  private rest: Buffer = Buffer.alloc(0)

  constructor(stream: AsyncIterable<Uint8Array>) {
    this.chunks = stream[Symbol.asyncIterator]()
  }

  async take(count: number): Promise<Buffer | undefined> {
    const parts = [this.rest]
    let have = this.rest.length
    while (have < count) {
      const next = await this.chunks.next()
      if (next.done) return undefined
      parts.push(Buffer.from(next.value))
      have += next.value.length
    }
    const bytes = Buffer.concat(parts)
    this.rest = bytes.subarray(count)
    return bytes.subarray(0, count)
  }

  async end(): Promise<void> {
    await this.chunks.return?.()
  }
}

/** The pictures of a stream, in order. Asks the stream for more only when the next one is asked for; memory: one picture. */
export async function* readPictures(stream: AsyncIterable<Uint8Array>): AsyncGenerator<StreamedPicture> {
  const taker = new Taker(stream)
  try {
    for (let next = await nextPicture(taker); next; next = await nextPicture(taker)) yield next
  } finally {
    await taker.end()
  }
}

async function nextPicture(taker: Taker): Promise<StreamedPicture | undefined> {
  const length = (await taker.take(4))?.readUInt32BE(0)
  if (length === undefined) return undefined
  if (length === 0 || length > headerBytesMax) {
    throw new Problem('bad-request', 'the header of a picture has an impossible length', {
      measured: length,
      limit: headerBytesMax,
    })
  }
  const text = await taker.take(length)
  if (!text) return undefined
  const header = parseHeader(text)
  const picture = await taker.take(header.bytes)
  return picture && { ...header, picture }
}

/** A message to who sends pictures, framed the same way. */
export function framed(message: unknown): Uint8Array {
  const text = Buffer.from(JSON.stringify(message))
  const length = Buffer.alloc(4)
  length.writeUInt32BE(text.length)
  return Buffer.concat([length, text])
}
