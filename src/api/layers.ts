// Layer bytes by digest: immutable, so a controller may keep them for good (RFC 9110 conditional and range requests).
import { pipeline } from 'node:stream/promises'
import type { Request } from 'express'
import * as z from 'zod'
import { type Digest, digestPattern, toDigest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import { roles } from '../people/index.ts'
import type { BlobStore } from '../storage/port.ts'
import type { ApiParts } from './parts.ts'
import { type Reply, type Route, route } from './route.ts'

const params = z.object({ digest: z.string().regex(digestPattern, 'a digest is 64 lower-case hex digits') })

// PNG: RFC 2083 §3.1; TIFF 6.0 §2: byte order mark and 42.
async function mediaTypeOf(blobs: BlobStore, digest: Digest): Promise<string> {
  const chunks: Buffer[] = []
  for await (const chunk of blobs.stream(digest, { start: 0, end: 7 })) chunks.push(Buffer.from(chunk as Buffer))
  const hex = Buffer.concat(chunks).toString('hex')
  if (hex.startsWith('89504e470d0a1a0a')) return 'image/png'
  return hex.startsWith('49492a00') || hex.startsWith('4d4d002a') ? 'image/tiff' : 'application/octet-stream'
}

/** `GET /layers/:digest`. The bytes are verified (cached by stat) before the first one leaves. */
export function layerRoutes({ blobs }: ApiParts): readonly Route[] {
  return [
    route({
      method: 'get',
      path: '/layers/:digest',
      tag: 'layers',
      roles,
      summary: 'The bytes of a layer file, verified; ranges and If-None-Match are served',
      params,
      returns: [
        { status: 200, description: 'All bytes', mediaType: 'image/png' },
        { status: 200, description: 'All bytes', mediaType: 'image/tiff' },
        { status: 206, description: 'The range asked for', mediaType: 'image/png' },
        { status: 206, description: 'The range asked for', mediaType: 'image/tiff' },
        { status: 304, description: 'You have it' },
      ],
      problems: ['blob-not-found', 'blob-damaged', 'range-not-satisfiable'],
      async handle({ params: { digest: text }, request, response }): Promise<Reply> {
        const digest = toDigest(text)
        const condition = await blobs.condition(digest)
        if (condition === 'missing') throw new Problem('blob-not-found', `no layer has the digest ${digest}`)
        if (condition === 'damaged')
          throw new Problem('blob-damaged', `the stored bytes of ${digest} are damaged; publish the package again`)
        const size = (await blobs.size(digest)) ?? 0
        const etag = `"${digest}"`
        response.setHeader('etag', etag)
        response.setHeader('cache-control', 'private, max-age=31536000, immutable')
        response.setHeader('accept-ranges', 'bytes')
        if (hasAlready(request, etag)) {
          response.status(304).end()
          return 'sent'
        }
        response.setHeader('content-type', await mediaTypeOf(blobs, digest))
        const range = wantsRange(request, etag) ? rangeOf(request.range(size), size) : undefined
        if (range) {
          response.status(206)
          response.setHeader('content-range', `bytes ${range.start}-${range.end}/${size}`)
        }
        response.setHeader('content-length', range ? range.end - range.start + 1 : size)
        if (request.method === 'HEAD') response.end()
        else await pipeline(blobs.stream(digest, range), response)
        return 'sent'
      },
    }),
  ]
}

// RFC 9110 §13.1.2. Not express's own word for it: that sends everything where `Cache-Control: no-cache` comes along, as from fetch.
function hasAlready(request: Request, etag: string): boolean {
  const held = request.headers['if-none-match']?.split(',').map((tag) => tag.trim().replace(/^W\//, '')) ?? []
  return held.includes('*') || held.includes(etag)
}

// RFC 9110 §13.1.5: a part is only of use to who has the rest of the same bytes.
function wantsRange(request: Request, etag: string): boolean {
  const held = request.headers['if-range']
  return held === undefined || held === etag
}

// Several ranges, other units and broken headers are answered whole, as RFC 9110 §14.2 allows.
function rangeOf(ranges: ReturnType<ApiRange>, size: number): { start: number; end: number } | undefined {
  if (ranges === -1) throw new Problem('range-not-satisfiable', `the layer has ${size} bytes`, { limit: size })
  if (ranges === undefined || ranges === -2 || ranges.type !== 'bytes' || ranges.length !== 1) return undefined
  return ranges[0]
}

type ApiRange = (size: number) => -1 | -2 | undefined | ({ start: number; end: number }[] & { type: string })
