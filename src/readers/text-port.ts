// A TCP port that plain code readers send lines to. One connection at a time: a later one takes the place of the one before, since a
// reader that lost its power leaves a connection behind that nobody will ever close.
import { createServer, type Server, type Socket } from 'node:net'
import { LineCutter } from './line-cutter.ts'
import { type LineForm, lineBytesMax, readLine } from './line-text.ts'
import type { PortTally } from './tallies.ts'

/** Breaks off what was sent last, so that a reader which went away without a word is noticed, ms. */
const keepAliveMs = 30_000

interface TextPort {
  readonly form: LineForm & { readonly delimiter?: string | undefined }
  readonly from?: string | undefined
  readonly tally: PortTally
  /** A code, or undefined for a no-read. */
  readonly line: (text: string | undefined) => void
}

/** Without the mark of an IPv4 address that came in over IPv6 (RFC 4291 §2.5.5.2). */
export const plainAddress = (address = ''): string => address.replace(/^::ffff:/, '')

function takeLines(socket: Socket, { form, tally, line }: TextPort): void {
  const delimiter = form.delimiter === undefined ? undefined : Buffer.from(form.delimiter, form.encoding)
  const cutter = new LineCutter({ delimiter, bytesMax: lineBytesMax })
  socket.on('data', (chunk: Buffer) => {
    for (const cut of cutter.take(chunk)) {
      const said = cut.kind === 'line' ? readLine(cut.bytes, form) : { kind: 'garbage' as const }
      if (said.kind === 'garbage') {
        tally.garbage++
        continue
      }
      tally.lines++
      line(said.kind === 'code' ? said.text : undefined)
    }
  })
  socket.on('close', () => {
    if (cutter.unfinished) tally.garbage++
  })
}

/** `connected` tells whether a reader is connected now. */
export function openTextPort(port: TextPort): {
  readonly server: Server
  connected(): boolean
  close(): Promise<void>
} {
  let current: Socket | undefined
  const server = createServer((socket) => {
    socket.on('error', () => socket.destroy())
    if (port.from !== undefined && plainAddress(socket.remoteAddress) !== plainAddress(port.from)) {
      port.tally.refused++
      socket.destroy()
      return
    }
    port.tally.connections++
    if (current) {
      port.tally.replaced++
      current.destroy()
    }
    current = socket
    socket.setKeepAlive(true, keepAliveMs)
    socket.on('close', () => {
      if (current === socket) current = undefined
    })
    takeLines(socket, port)
  })
  return {
    server,
    connected: () => current !== undefined,
    async close() {
      const closed = new Promise((resolve) => server.close(resolve))
      current?.destroy()
      await closed
    },
  }
}
