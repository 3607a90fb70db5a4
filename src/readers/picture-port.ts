// A TCP port for a line's pictures: each is stored and announced as a posted one is, and answered with a framed JSON message. While one
// is taken nothing more is read, so that a camera that is too fast waits in its own socket.
import { createServer, type Server, type Socket } from 'node:net'
import { Problem, toProblemDetails } from '../kernel/problem.ts'
import { framed, readPictures, type StreamedPicture } from './picture-messages.ts'
import { plainAddress } from './text-port.ts'

export interface PictureTally {
  pictures: number
  /** Pictures that were answered with a problem. */
  refused: number
  connections: number
}

interface PicturePort {
  readonly from?: string | undefined
  readonly tally: PictureTally
  /** Resolves with the frames that are pending when the picture is stored and its frame durable. */
  readonly post: (picture: StreamedPicture) => Promise<{ readonly pending: readonly number[] }>
  readonly report: (error: unknown) => void
}

/** Each camera has its own connection; more than these are closed at once. */
const connectionsMax = 8
const lingerMs = 2_000

function problemOf(error: unknown, report: PicturePort['report']): Problem {
  if (error instanceof Problem) return error
  report(error)
  return new Problem('internal', 'the picture could not be taken; the log has the details')
}

// A refused picture is answered and left; a header that cannot be read ends the connection.
async function serve(socket: Socket, { tally, post, report }: PicturePort): Promise<void> {
  const say = (message: unknown): void => {
    if (socket.writable) socket.write(framed(message))
  }
  const refuse = (error: unknown, frame?: number): void => {
    tally.refused++
    const problem = toProblemDetails(problemOf(error, report))
    say({ ...(frame === undefined ? {} : { frame }), problem })
  }
  try {
    for await (const picture of readPictures(socket.iterator({ destroyOnReturn: false }))) {
      const { frame } = picture
      await post(picture).then(
        ({ pending }) => {
          tally.pictures++
          say({ frame, pending: pending.includes(frame) })
        },
        (error) => refuse(error, frame),
      )
    }
  } catch (error) {
    // A connection that broke off has nobody to tell.
    if (error instanceof Problem) refuse(error)
  }
  socket.end()
  // What is still sent is thrown away for a while: closing at once would take the answer with it.
  socket.resume()
  setTimeout(() => socket.destroy(), lingerMs).unref()
}

export function openPicturePort(port: PicturePort): {
  readonly server: Server
  connected(): number
  close(): Promise<void>
} {
  const sockets = new Set<Socket>()
  const server = createServer((socket) => {
    socket.on('error', () => socket.destroy())
    const isForeign = port.from !== undefined && plainAddress(socket.remoteAddress) !== plainAddress(port.from)
    if (isForeign || sockets.size >= connectionsMax) {
      port.tally.refused++
      socket.destroy()
      return
    }
    port.tally.connections++
    sockets.add(socket)
    socket.on('close', () => sockets.delete(socket))
    serve(socket, port).catch(port.report)
  })
  return {
    server,
    connected: () => sockets.size,
    async close() {
      const closed = new Promise((resolve) => server.close(resolve))
      for (const socket of sockets) socket.destroy()
      await closed
    },
  }
}
