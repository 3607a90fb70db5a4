// What every request meets first: whose page it came from, and a body that is small, shallow JSON.
import type { NextFunction, Request, Response } from 'express'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'

const loopbackHosts = new Set(['localhost', '127.0.0.1', '[::1]'])

const hostOf = (header: string): string => header.replace(/:\d+$/, '').toLowerCase()

// A page that has its own name resolve to this machine sends that name; it cannot send the address itself as its host (DNS rebinding).
function isOwnAddress(host: string, request: Request): boolean {
  const local = request.socket.localAddress ?? ''
  const address = local.replace(/^::ffff:/, '')
  return host === (address.includes(':') ? `[${address}]` : address)
}

/**
 * Refuses requests that a foreign web page makes a browser send here: a host name that is neither loopback nor among `hosts` nor the
 * very address that the request came to, or an `Origin` of another site. Programs send no `Origin` and pass. Pages may come by
 * https only under `hosts`, where a proxy ends TLS.
 */
export const refuseForeign =
  (hosts: readonly string[]) =>
  (request: Request, _response: Response, next: NextFunction): void => {
    const host = hostOf(request.headers.host ?? '')
    const isNamed = hosts.includes(host)
    if (!loopbackHosts.has(host) && !isNamed && !isOwnAddress(host, request))
      throw new Problem(
        'foreign-origin',
        `the host name ${host} is not this server's; config.json may name it in hosts`,
        {
          measured: host,
        },
      )
    const { origin } = request.headers
    const isOwn =
      origin === `http://${request.headers.host}` || (isNamed && origin === `https://${request.headers.host}`)
    if (origin !== undefined && !isOwn) {
      throw new Problem('foreign-origin', `the page ${origin} may not call this server`, { measured: origin })
    }
    next()
  }

/** Parses JSON text; Problem `body-not-json`, or `body-too-deep` before anything is parsed. */
export function parseJson(text: string): unknown {
  const depth = jsonDepth(text)
  if (depth > limits.jsonDepthMax) {
    throw new Problem('body-too-deep', 'the JSON is nested too deeply', { measured: depth, limit: limits.jsonDepthMax })
  }
  try {
    return JSON.parse(text)
  } catch (error) {
    throw new Problem('body-not-json', `the body is not JSON: ${(error as Error).message}`)
  }
}

// Brackets outside of strings; on broken JSON the count is merely an upper bound.
function jsonDepth(text: string): number {
  let depth = 0
  let deepest = 0
  let quoted = false
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i)
    if (quoted) {
      if (code === 0x5c) i++
      else if (code === 0x22) quoted = false
    } else if (code === 0x22) quoted = true
    else if (code === 0x7b || code === 0x5b) deepest = Math.max(deepest, ++depth)
    else if (code === 0x7d || code === 0x5d) depth--
  }
  return deepest
}

/** The chunks of a body. Whoever stops early leaves the connection open, so that the refusal can still be sent on it. */
export const chunksOf = (request: Request): AsyncIterable<Buffer> =>
  request.iterator({ destroyOnReturn: false }) as AsyncIterable<Buffer>

/** Reads a body whole, up to `bytesMax`; Problem `body-too-large` (then the rest of the body is not awaited). */
export async function readBody(request: Request, bytesMax: number): Promise<Buffer> {
  const tooLarge = (measured: number) =>
    new Problem('body-too-large', `the body has more than ${bytesMax} bytes`, { measured, limit: bytesMax })
  const declared = Number(request.headers['content-length'] ?? 0)
  if (declared > bytesMax) throw tooLarge(declared)
  const chunks: Buffer[] = []
  let size = 0
  for await (const chunk of chunksOf(request)) {
    size += chunk.length
    if (size > bytesMax) throw tooLarge(size)
    chunks.push(chunk)
  }
  return chunks.length === 1 && chunks[0] ? chunks[0] : Buffer.concat(chunks)
}

/** The media type of a request without its parameters. */
export const mediaTypeOf = (request: Request): string =>
  (request.headers['content-type'] ?? '').split(';')[0]?.trim().toLowerCase() ?? ''
