// What must hold of a run whatever was sent to it, judged from what was received and from the ledger alone.
import { readEntries } from '../../src/ledger/index.ts'
import type { Answer } from '../../src/runs/index.ts'
import type { AnswersPage } from '../../src/runs/told.ts'
import type { Database } from '../../src/storage/index.ts'
import { holds } from './judge.ts'

/** Keeps every answer that was received, and holds repeats against it. */
export function openAnswerBook() {
  const received = new Map<string, Answer>()
  const revoked = new Set<string>()
  const keep = (answer: Answer): void => {
    const { revokedBy, ...lasting } = answer
    const label = `${answer.frame}/${answer.cell}`
    const before = received.get(label)
    if (before === undefined) received.set(label, lasting as Answer)
    else {
      const same = JSON.stringify(before) === JSON.stringify(lasting)
      holds(same, `the answer to label ${label} changed: ${JSON.stringify(before)} to ${JSON.stringify(lasting)}`)
    }
    if (revokedBy !== undefined) revoked.add(label)
    else holds(!revoked.has(label), `the revocation of the answer to label ${label} was forgotten`)
  }
  return {
    keep: (answers: readonly Answer[]) => answers.forEach(keep),
    answers: (): readonly Answer[] => [...received.values()],
  }
}
export type AnswerBook = ReturnType<typeof openAnswerBook>

interface Lay {
  readonly index: number
  readonly frame: number
  readonly serial?: string
}

const versionOf = (
  of: { job?: string | undefined; design?: string | undefined; version?: number | undefined } | undefined,
): string => `${of?.job}/${of?.design}/${of?.version}`

/**
 * Reads a ledger from its first entry: no label (place and cell of the material) is answered `lay` while an earlier `lay` of it
 * stands, that is, neither revoked nor reported `none`; nor is a serial of the run proper laid in two places; nor is a version laid after its recall. Returns how many were laid.
 */
export async function judgeLays(database: Database, runId: string): Promise<number> {
  const standing = new Map<string, Lay>()
  const serials = new Map<string, string>()
  const recalled = new Set<string>()
  let lays = 0
  for await (const { type, body, index } of readEntries(database, { runId })) {
    if (type === 'act' && body.act === 'withdraw') recalled.add(versionOf(body))
    if (type === 'answer' && body.decision === 'lay') {
      lays += 1
      holds(!recalled.has(versionOf(body.identity)), `entry ${index} lays a version that was recalled`)
      const label = `${body.place}/${body.cell}`
      const before = standing.get(label)
      holds(!before, `label ${label} was answered lay by entry ${before?.index} and again by ${index}`)
      const serial = body.setup || !body.identity?.serial ? undefined : `${body.identity.job}/${body.identity.serial}`
      const elsewhere = serial === undefined ? undefined : serials.get(serial)
      holds(elsewhere === undefined, `serial ${serial} is laid on ${elsewhere} and again by entry ${index}`)
      if (serial !== undefined) serials.set(serial, label)
      standing.set(label, { index, frame: body.frame, ...(serial === undefined ? {} : { serial }) })
      holds(body.layers.length > 0 && body.identity?.version !== undefined, `entry ${index} lays nothing that is known`)
    }
    const isOver = (label: string, lay: Lay): boolean => {
      if (type === 'revocation') return lay.index === body.answer
      if (type === 'laid') return body.laid === 'none' && lay.frame === body.frame && label.endsWith(`/${body.cell}`)
      return false
    }
    for (const [label, lay] of standing) {
      if (!isOver(label, lay)) continue
      standing.delete(label)
      if (lay.serial !== undefined) serials.delete(lay.serial)
    }
  }
  return lays
}

export function judgePage({ answers, cursor }: AnswersPage, after: number): void {
  holds(cursor >= after, 'a cursor never goes back')
  for (const answer of answers) holds(answer.ledgerIndex > after, 'a page holds what comes after the cursor')
}
