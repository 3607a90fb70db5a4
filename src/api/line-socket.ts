// The WebSocket of a run on the HTTP server: requests that offer one are judged by the application like all others, and then become
// sessions.
import { type IncomingMessage, type Server, ServerResponse } from 'node:http'
import type { Duplex } from 'node:stream'
import type { ErrorRequestHandler, Express } from 'express'
import { type WebSocket, WebSocketServer } from 'ws'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import { subprotocol } from '../protocol/index.ts'
import { type StartTimer, systemTimer } from '../queue/index.ts'
import { keyWatch } from './callers.ts'
import { isLineOffer, makeOffer, offerOf, takeKeyFromProtocols } from './line-socket-offers.ts'
import { openSeats } from './line-socket-seats.ts'
import { LineSession } from './line-socket-session.ts'
import { asProblem } from './mount.ts'
import type { ApiParts } from './parts.ts'

export interface LineSockets {
  /** Tells every controller that this is the end; resolves when all connections are closed. */
  close(): Promise<void>
}

type Parts = Pick<ApiParts, 'runs' | 'keys' | 'clock' | 'metrics' | 'log'>

/** For a peer that does not close from its side. */
const closingMs = 1_000

/** Refuses on the socket what the application refuses of a request that offers one; pages of other sites get no connection at all. */
export const refuseOffers: ErrorRequestHandler = (error, request, _response, next) => {
  const offer = offerOf(request)
  if (!offer || (error as { code?: unknown }).code === 'foreign-origin') next(error)
  else offer.refuse(asProblem(error))
}

/** Serves the line's protocol on `http`, over the runs of the application. `startTimer` goes with the clock of `parts`. */
export function attachLineSockets(
  http: Server,
  app: Express,
  parts: Parts & { readonly startTimer?: StartTimer | undefined },
): LineSockets {
  const sessions = new Map<WebSocket, LineSession>()
  const opening = { ...parts, startTimer: parts.startTimer ?? systemTimer, seats: openSeats() }
  const server = new WebSocketServer({
    noServer: true,
    clientTracking: false,
    maxPayload: limits.jsonBodyBytesMax,
    perMessageDeflate: false,
    handleProtocols: () => subprotocol,
  })
  let isClosing = false

  const begin = (socket: WebSocket, runId: string, refused: () => Problem | undefined): LineSession => {
    const session = new LineSession(opening, socket, { runId, refused })
    sessions.set(socket, session)
    socket.once('close', () => sessions.delete(socket))
    if (isClosing) session.refuse(shuttingDown())
    return session
  }
  const upgrade = (request: IncomingMessage, socket: Duplex, head: Buffer): void => {
    // Until it is taken on: a peer that goes away must not end the process.
    socket.on('error', () => socket.destroy())
    const response = responseOn(request, socket as Parameters<ServerResponse['assignSocket']>[0])
    if (!response) return
    takeKeyFromProtocols(request)
    const refused = keyWatch(parts.keys, request.headers.authorization)
    const takeOn = (then: (session: WebSocket) => void): void => {
      response.detachSocket(socket as Parameters<ServerResponse['detachSocket']>[0])
      server.handleUpgrade(request, socket, head, then)
    }
    if (isLineOffer(request))
      makeOffer(request, {
        accept: (runId) => takeOn((line) => begin(line, runId, refused)),
        refuse: (problem) => takeOn((line) => begin(line, '', () => undefined).refuse(problem)),
      })
    app(request, response)
  }
  http.on('upgrade', upgrade)
  return {
    async close() {
      isClosing = true
      const closed = [...sessions.keys()].map((socket) => new Promise((resolve) => socket.once('close', resolve)))
      for (const session of sessions.values()) session.refuse(shuttingDown())
      const cut = setTimeout(() => {
        for (const socket of sessions.keys()) socket.terminate()
      }, closingMs)
      await Promise.all(closed)
      clearTimeout(cut)
    },
  }
}

const shuttingDown = (): Problem => new Problem('shutting-down', 'Rollcall is shutting down; connect again later')

// What does not become a WebSocket is answered as any request is, and the connection ends with it: Node has let go of it.
function responseOn(
  request: IncomingMessage,
  socket: Parameters<ServerResponse['assignSocket']>[0],
): ServerResponse | undefined {
  if (request.method !== 'GET' && request.method !== 'HEAD') {
    // Its body would never come.
    socket.end('HTTP/1.1 400 Bad Request\r\nConnection: close\r\nContent-Length: 0\r\n\r\n')
    return undefined
  }
  const response = new ServerResponse(request)
  response.shouldKeepAlive = false
  response.assignSocket(socket)
  response.once('finish', () => socket.end())
  return response
}
