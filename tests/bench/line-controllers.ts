// Controllers of benches on WebSockets: messages made beforehand, and when each frame was answered, by `performance.now()`.
import { once } from 'node:events'
import { WebSocket } from 'ws'
import { type Answer, type ControllerMessage, type RollcallMessage, subprotocol } from '../../src/protocol/index.ts'
import type { FrameEvent } from '../../src/runs/index.ts'
import { cellCount } from './labels.ts'

/** A frames message, as it is sent. */
export interface Prepared {
  readonly text: string
  readonly frames: readonly number[]
}

export interface Controller {
  /** Resolves with the time at which the last answer of its last frame was here. */
  send(message: Prepared): Promise<number>
  close(): void
}

let seq = 0

export function prepare(events: readonly FrameEvent[], framesEach: number): Prepared[] {
  const messages: Prepared[] = []
  for (let from = 0; from < events.length; from += framesEach) {
    const frames = events.slice(from, from + framesEach)
    const message: ControllerMessage = { type: 'frames', seq: seq++, frames: [...frames] }
    messages.push({ text: JSON.stringify(message), frames: frames.map(({ frame }) => frame) })
  }
  return messages
}

async function connected(url: string, protocols: string[]): Promise<WebSocket> {
  const socket = new WebSocket(url.replace('http', 'ws'), protocols, { perMessageDeflate: false })
  await once(socket, 'open')
  return socket
}

interface Waiting {
  readonly socket: WebSocket
  /** By the last frame of each message. */
  readonly byFrame: Map<number, (atMs: number) => void>
}

function controllerOver({ socket, byFrame }: Waiting): Controller {
  return {
    send({ text, frames }) {
      const answered = new Promise<number>((resolve) => byFrame.set(frames.at(-1) ?? -1, resolve))
      socket.send(text)
      return answered
    },
    close: () => socket.terminate(),
  }
}

function arrived(byFrame: Waiting['byFrame'], frame: number): void {
  byFrame.get(frame)?.(performance.now())
  byFrame.delete(frame)
}

const ask = async <T>(url: string): Promise<T> => (await (await fetch(url)).json()) as T

/** The last entry of a run's ledger that answers stand in. */
async function newest(url: string, runId: string): Promise<number> {
  const at = `${url}/api/v1/runs/${runId}`
  const { lastFrame } = await ask<{ lastFrame: number }>(at)
  const { answers } = await ask<{ answers: readonly Answer[] }>(`${at}/answers?frame=${lastFrame}`)
  return Math.max(...answers.map(({ ledgerIndex }) => ledgerIndex))
}

/** A controller of a run, from its newest entry on. Any problem ends the bench. */
export async function openController(url: string, runId: string): Promise<Controller> {
  const cursor = await newest(url, runId)
  const socket = await connected(`${url}/api/v1/runs/${runId}/line`, [subprotocol])
  const byFrame: Waiting['byFrame'] = new Map()
  const welcome = new Promise<void>((resolve) => {
    socket.on('message', (data) => {
      const message = JSON.parse(String(data)) as RollcallMessage
      if (message.type === 'problem' || message.type === 'state') throw new Error(`told ${JSON.stringify(message)}`)
      if (message.type === 'welcome') resolve()
      if (message.type !== 'answers') return
      for (const { frame, cell } of message.answers) if (cell === cellCount) arrived(byFrame, frame)
    })
  })
  socket.send(JSON.stringify({ type: 'hello', protocol: 1, controller: 'bench', after: cursor, heartbeatMs: 60_000 }))
  await welcome
  return controllerOver({ socket, byFrame })
}

/** The same messages, sent back as they are. */
export async function openEchoed(url: string): Promise<Controller> {
  const socket = await connected(url, [])
  const byFrame: Waiting['byFrame'] = new Map()
  socket.on('message', (data) => {
    const message = JSON.parse(String(data)) as Extract<ControllerMessage, { type: 'frames' }>
    arrived(byFrame, message.frames.at(-1)?.frame ?? -1)
  })
  return controllerOver({ socket, byFrame })
}
