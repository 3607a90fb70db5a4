// Messages of a controller, from the bytes of a WebSocket to what they say, by the protocol's own schemas.
import type { RawData } from 'ws'
import { Problem } from '../kernel/problem.ts'
import { firstOf, schemaFindings } from '../kernel/schema-findings.ts'
import { type ControllerMessage, controllerMessageSchema } from '../protocol/index.ts'
import { parseJson } from './guards.ts'

export type ReadMessage =
  | { readonly ok: true; readonly message: ControllerMessage }
  /** `seq` where the message says one, however wrong the rest is. */
  | { readonly ok: false; readonly problem: Problem; readonly seq?: number }

const findingsMax = 20

const textOf = (data: RawData): string =>
  Array.isArray(data) ? Buffer.concat(data).toString() : Buffer.from(data as Buffer).toString()

function seqOf(value: unknown): { readonly seq?: number } {
  const { seq } = (typeof value === 'object' && value !== null ? value : {}) as { seq?: unknown }
  return typeof seq === 'number' && Number.isSafeInteger(seq) && seq >= 0 ? { seq } : {}
}

/** Problems `wrong-media-type` for bytes, `body-not-json`, `body-too-deep`, `bad-request`. Never throws. */
export function readMessage(data: RawData, isBinary: boolean): ReadMessage {
  if (isBinary)
    return { ok: false, problem: new Problem('wrong-media-type', 'messages are JSON text', { measured: 'binary' }) }
  let value: unknown
  try {
    value = parseJson(textOf(data))
  } catch (error) {
    if (error instanceof Problem) return { ok: false, problem: error }
    throw error
  }
  const parsed = controllerMessageSchema.safeParse(value)
  if (parsed.success) return { ok: true, message: parsed.data }
  const findings = schemaFindings(parsed.error, value, 'bad-request').slice(0, findingsMax)
  const problem = new Problem('bad-request', `the message does not fit: ${firstOf(findings)}`, { findings })
  return { ok: false, problem, ...seqOf(value) }
}
