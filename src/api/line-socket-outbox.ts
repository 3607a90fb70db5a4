// What waits for a controller: messages leave in order; who does not read is noticed by what piles up, and by nothing leaving.
import type { WebSocket } from 'ws'
import type { Clock } from '../kernel/clock.ts'
import { limits } from '../kernel/limits.ts'
import type { RollcallMessage } from '../protocol/index.ts'

export interface Outbox {
  /** Nothing is sent any more once the socket is closing. */
  send(message: RollcallMessage): void
  /** Resolves when so little waits that another page may follow. */
  room(): Promise<void>
  /** For how long something has been waiting and nothing has left, ms; 0 where nothing waits. */
  stuckMs(): number
}

interface OutboxParts {
  readonly socket: WebSocket
  readonly clock: Pick<Clock, 'monotonicMs'>
  readonly onSent: (type: RollcallMessage['type']) => void
  /** More waits than may: called once. */
  readonly onFull: () => void
}

/** While catching up, another page is read when less than this waits. */
const roomBytes = 256 * 1024

export function openOutbox({ socket, clock, onSent, onFull }: OutboxParts): Outbox {
  let waiting = 0
  let movedMs = 0
  let isFull = false
  let wanting: (() => void)[] = []
  const giveRoom = (): void => {
    const now = wanting
    wanting = []
    for (const resolve of now) resolve()
  }
  const hasRoom = (): boolean => socket.readyState !== socket.OPEN || socket.bufferedAmount <= roomBytes
  const left = (): void => {
    waiting--
    movedMs = clock.monotonicMs()
    if (hasRoom()) giveRoom()
  }
  socket.once('close', giveRoom)
  return {
    send(message) {
      if (socket.readyState !== socket.OPEN || isFull) return
      if (waiting++ === 0) movedMs = clock.monotonicMs()
      socket.send(JSON.stringify(message), left)
      onSent(message.type)
      if (socket.bufferedAmount <= limits.lineWaitingBytesMax) return
      isFull = true
      onFull()
    },
    room: () => (hasRoom() ? Promise.resolve() : new Promise((resolve) => wanting.push(resolve))),
    stuckMs: () => (waiting === 0 ? 0 : clock.monotonicMs() - movedMs),
  }
}
