// A message as it came, checked by the schema of the protocol.
import { type RollcallMessage, rollcallMessageSchema } from '../protocol/index.ts'

export type Reading =
  | { readonly kind: 'message'; readonly message: RollcallMessage }
  /** `mayRevoke`: a revocation may have been in it, so that what is held can no longer be trusted. */
  | { readonly kind: 'unfit'; readonly detail: string; readonly mayRevoke: boolean }

const otherTypes: ReadonlySet<unknown> = new Set(['welcome', 'accepted', 'outlook', 'state', 'heartbeat', 'problem'])

export function readMessage(data: unknown): Reading {
  if (typeof data !== 'string') return { kind: 'unfit', detail: 'the message is not text', mayRevoke: true }
  let value: unknown
  try {
    value = JSON.parse(data)
  } catch {
    return { kind: 'unfit', detail: `the message is not JSON: ${data.slice(0, 200)}`, mayRevoke: true }
  }
  const parsed = rollcallMessageSchema.safeParse(value)
  if (parsed.success) return { kind: 'message', message: parsed.data }
  const [issue] = parsed.error.issues
  const type = (value as { type?: unknown } | null)?.type
  const where = `/${(issue?.path ?? []).map(String).join('/')}`
  const detail = `a message of type ${JSON.stringify(type)} does not fit: ${where} ${issue?.message ?? ''}`
  return { kind: 'unfit', detail, mayRevoke: !otherTypes.has(type) }
}
