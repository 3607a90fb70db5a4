// The press's sequence as a truth: a CSV beside the scenario, or the one that the ticket names, fetched from the server.
import { createHash } from 'node:crypto'
import { mkdtemp, open, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { Problem } from '../../kernel/problem.ts'
import { cellsOf, readSequence, type SequenceLayout, type Ticket } from '../../lines/index.ts'
import type { Server } from '../server.ts'

/** Texts of each printed frame by cell, in printed order. */
export type SequenceTexts = readonly ReadonlyMap<number, string>[]

async function textsIn(file: string, name: string, layout: SequenceLayout): Promise<SequenceTexts> {
  const frames: Map<number, string>[] = []
  let position = -1
  const handle = await open(file).catch((error) => {
    throw new Problem('not-found', `there is no file ${name}, or it cannot be read: ${error.code}`, { file: name })
  })
  try {
    const { findings } = await readSequence({
      handle,
      file: name,
      layout,
      take(row) {
        if (row.position !== position) frames.push(new Map())
        position = row.position
        for (const cell of cellsOf(layout, row)) frames.at(-1)?.set(cell, row.code)
      },
    })
    if (findings.length > 0)
      throw new Problem('sequence-refused', `the sequence ${name} has findings`, { file: name, findings })
  } finally {
    await handle.close()
  }
  return frames
}

/** From a file. Problems: `not-found`, `sequence-refused`. */
export const sequenceFile = (file: string, layout: SequenceLayout): Promise<SequenceTexts> =>
  textsIn(file, file, layout)

/** From the server. Problems: `scenario-truth` where the ticket names none, `sequence-refused`. */
export async function sequenceOfTicket(server: Server, ticket: Ticket, layout: SequenceLayout): Promise<SequenceTexts> {
  const digest = ticket.sequence?.sha256
  if (!digest)
    throw new Problem('scenario-truth', `ticket ${ticket.ticket} has no sequence; give a file, or truth from jobs`)
  const bytes = await server.text(`/layers/${digest}`)
  const found = createHash('sha256').update(bytes).digest('hex')
  if (found !== digest)
    throw new Problem('blob-damaged', `the sequence of ticket ${ticket.ticket} came with other bytes`)
  const folder = await mkdtemp(path.join(tmpdir(), 'rollcall-sequence-'))
  try {
    const file = path.join(folder, 'sequence.csv')
    await writeFile(file, bytes)
    return await textsIn(file, `sequence ${digest.slice(0, 12)}`, layout)
  } finally {
    await rm(folder, { recursive: true, force: true })
  }
}
