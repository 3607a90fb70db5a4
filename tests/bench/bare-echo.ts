// The least that a WebSocket can do with a message: send it back. A program of its own.
import type { AddressInfo } from 'node:net'
import { WebSocketServer } from 'ws'

const server = new WebSocketServer({ host: '127.0.0.1', port: 0, perMessageDeflate: false }, () => {
  process.stdout.write(`http://127.0.0.1:${(server.address() as AddressInfo).port}\n`)
})
server.on('connection', (socket) => socket.on('message', (data, isBinary) => socket.send(data, { binary: isBinary })))
process.once('SIGTERM', () => process.exit(0))
