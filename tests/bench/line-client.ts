// A client that speaks HTTP/1.1 on one kept socket with requests made beforehand, so that what is measured is the server. Replies come
// in the order of requests, which may be sent before earlier ones are answered.
import { once } from 'node:events'
import { connect, type Socket } from 'node:net'

export interface Reply {
  readonly status: number
  readonly body: Buffer
  /** When its last byte was here, by `performance.now()`. */
  readonly atMs: number
}

export interface LineClient {
  /** Rejects when the socket closes first. */
  send(request: Buffer): Promise<Reply>
  close(): void
}

/** The bytes of a POST with a JSON body. */
export function postBytes(url: string, target: string, body: unknown): Buffer {
  const text = JSON.stringify(body)
  const head = `POST ${target} HTTP/1.1\r\nhost: ${new URL(url).host}\r\ncontent-type: application/json`
  return Buffer.from(`${head}\r\ncontent-length: ${Buffer.byteLength(text)}\r\n\r\n${text}`)
}

const headEnd = Buffer.from('\r\n\r\n')

interface Waiting {
  resolve(reply: Reply): void
  reject(error: Error): void
}

export async function openLineClient(url: string): Promise<LineClient> {
  const { hostname, port } = new URL(url)
  const socket = connect({ host: hostname, port: Number(port), noDelay: true })
  await once(socket, 'connect')
  const waiting: Waiting[] = []
  readReplies(socket, (reply) => waiting.shift()?.resolve(reply))
  const fail = (error: Error): void => {
    for (const { reject } of waiting.splice(0)) reject(error)
  }
  socket.on('error', fail)
  socket.on('close', () => fail(new Error('the server closed the connection')))
  return {
    send: (request) =>
      new Promise((resolve, reject) => {
        waiting.push({ resolve, reject })
        socket.write(request)
      }),
    close: () => socket.destroy(),
  }
}

function readReplies(socket: Socket, take: (reply: Reply) => void): void {
  let chunks: Buffer[] = []
  let held = 0
  let needed = 1
  socket.on('data', (chunk) => {
    chunks.push(chunk)
    held += chunk.length
    if (held < needed) return
    let bytes = chunks.length === 1 ? chunk : Buffer.concat(chunks)
    for (;;) {
      const head = headOf(bytes)
      needed = head?.end ?? bytes.length + 1
      if (head === undefined || bytes.length < head.end) break
      take({ status: head.status, body: bytes.subarray(head.bodyAt, head.end), atMs: performance.now() })
      bytes = bytes.subarray(head.end)
    }
    chunks = bytes.length > 0 ? [bytes] : []
    held = bytes.length
  })
}

/** Status and extent of the first reply in the bytes; undefined while its head isn't whole. */
function headOf(bytes: Buffer): { status: number; bodyAt: number; end: number } | undefined {
  const at = bytes.indexOf(headEnd)
  if (at < 0) return undefined
  const text = bytes.toString('latin1', 0, at)
  const [, status] = /^HTTP\/1\.1 (\d{3})/.exec(text) ?? []
  const [, length] = /\r\ncontent-length: *(\d+)/i.exec(text) ?? []
  if (status === undefined || length === undefined) throw new Error(`a reply without status or length: ${text}`)
  const bodyAt = at + headEnd.length
  return { status: Number(status), bodyAt, end: bodyAt + Number(length) }
}

/** Sends requests one after the other; latencies in ms. Throws on any status but 200. */
export async function sendInTurn(client: LineClient, requests: readonly Buffer[]): Promise<number[]> {
  const latencies: number[] = []
  for (const request of requests) {
    const sentMs = performance.now()
    const { status, body, atMs } = await client.send(request)
    if (status !== 200) throw new Error(`answered ${status}: ${body.toString().slice(0, 500)}`)
    latencies.push(atMs - sentMs)
  }
  return latencies
}
