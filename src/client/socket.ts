// Opening a WebSocket to a run: the one of the browser, one that was given, or in Node the library, which can send the key as a header.
import { subprotocol } from '../protocol/index.ts'

/** The part of a WebSocket that the client uses; that of browsers and that of Node's libraries fit. */
export interface LineSocket {
  onopen: ((event: never) => void) | null
  onmessage: ((event: never) => void) | null
  onclose: ((event: never) => void) | null
  onerror: ((event: never) => void) | null
  send(text: string): void
  close(code?: number, reason?: string): void
  /** Ends it at once, where the library can. */
  terminate?(): void
}

export type LineSocketClass = new (url: string, protocols: string[]) => LineSocket

export interface Address {
  /** Of the server, such as `http://127.0.0.1:7070`; `ws:` and `wss:` do as well. */
  readonly url: string
  readonly runId: string
  readonly key?: string
}

/** An answers message of thousands of labels is some MB. */
const messageBytesMax = 32 * 1024 * 1024

export function socketUrl({ url, runId }: Address): string {
  const base = url.replace(/^http/i, 'ws').replace(/\/+$/, '')
  return `${base}/api/v1/runs/${encodeURIComponent(runId)}/line`
}

const isNode = (): boolean => typeof globalThis.process?.versions?.node === 'string'

/** Opens a socket. Browsers cannot set headers: there the key goes as a second subprotocol. */
export async function openSocket(address: Address, given?: LineSocketClass): Promise<LineSocket> {
  const { key } = address
  const Socket = given ?? (isNode() ? undefined : (globalThis.WebSocket as unknown as LineSocketClass))
  if (Socket) {
    return new Socket(socketUrl(address), [subprotocol, ...(key === undefined ? [] : [`rollcall.key.${key}`])])
  }
  const { WebSocket } = await import('ws')
  return new WebSocket(socketUrl(address), [subprotocol], {
    maxPayload: messageBytesMax,
    perMessageDeflate: false,
    ...(key === undefined ? {} : { headers: { authorization: `Bearer ${key}` } }),
  }) as unknown as LineSocket
}
