// A relay between the simulated controller and the server, so that a connection can be cut as a pulled plug would cut it.
import { connect, createServer, type Socket } from 'node:net'
import { Problem } from '../../kernel/problem.ts'

export interface Relay {
  /** To be used in place of the server's. */
  readonly url: string
  /** Ends every connection at once, without a word to either side. */
  cut(): void
  close(): Promise<void>
}

/** Opens a relay on loopback to a server that is reached by plain HTTP. Problem `usage` for another one. */
export async function openRelay(serverUrl: string): Promise<Relay> {
  const { protocol, hostname, port } = new URL(serverUrl)
  if (protocol !== 'http:')
    throw new Problem('usage', `a cut is simulated on the way to an http: server, not ${serverUrl}`)
  const pairs = new Set<Socket>()
  const join = (near: Socket): void => {
    const far = connect(Number(port || 80), hostname.replace(/^\[|\]$/g, ''))
    for (const [one, other] of [
      [near, far],
      [far, near],
    ] as const) {
      pairs.add(one)
      one.setNoDelay(true)
      one.on('error', () => other.destroy())
      one.on('close', () => {
        pairs.delete(one)
        other.destroy()
      })
      one.pipe(other)
    }
  }
  const listener = createServer(join)
  await new Promise<void>((resolve, reject) => listener.once('error', reject).listen(0, '127.0.0.1', resolve))
  const address = listener.address()
  const listening = typeof address === 'object' && address ? address.port : 0
  const cut = (): void => {
    for (const socket of pairs) socket.destroy()
  }
  return {
    url: `http://127.0.0.1:${listening}`,
    cut,
    async close() {
      cut()
      await new Promise((resolve) => listener.close(resolve))
    },
  }
}
