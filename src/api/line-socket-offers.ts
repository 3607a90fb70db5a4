// A WebSocket that a request offers: the request goes through the same guards, keys and roles as every other; what lets it in, or
// refuses it, then answers on the socket.
import type { IncomingMessage } from 'node:http'
import type { Problem } from '../kernel/problem.ts'
import { subprotocol } from '../protocol/index.ts'

export interface Offer {
  /** Takes the connection on, as one to this run. */
  accept(runId: string): void
  /** Takes it on to tell the problem and close: a browser learns of a refusal in no other way. */
  refuse(problem: Problem): void
}

const offers = new WeakMap<IncomingMessage, Offer>()

export const offerOf = (request: IncomingMessage): Offer | undefined => offers.get(request)

export function makeOffer(request: IncomingMessage, offer: Offer): void {
  offers.set(request, offer)
}

const keyProtocol = 'rollcall.key.'

const offered = ({ headers }: IncomingMessage): string[] =>
  (headers['sec-websocket-protocol'] ?? '').split(',').map((name) => name.trim())

/** Whether a request asks for a WebSocket that speaks the line's protocol (RFC 6455 §4.2.1). */
export const isLineOffer = (request: IncomingMessage): boolean =>
  request.method === 'GET' &&
  request.headers.upgrade?.toLowerCase() === 'websocket' &&
  request.headers['sec-websocket-version'] === '13' &&
  offered(request).includes(subprotocol)

/** A browser cannot set headers on a WebSocket; its key comes as a subprotocol that is never chosen. */
export function takeKeyFromProtocols(request: IncomingMessage): void {
  if (request.headers.authorization !== undefined) return
  const key = offered(request).find((name) => name.startsWith(keyProtocol))
  if (key !== undefined) request.headers.authorization = `Bearer ${key.slice(keyProtocol.length)}`
}
