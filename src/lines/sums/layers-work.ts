// Reading the layers that a ticket's sums lack, as queued work: minutes for a large job the first time, nothing afterwards.
import { sha256Hex } from '../../kernel/bytes.ts'
import { Problem } from '../../kernel/problem.ts'
import type { CatalogueStore, LayerSumOrder, LayerSums } from '../../packages/index.ts'
import type { WorkHandler, WorkOrder } from '../../queue/port.ts'
import type { Database } from '../../storage/port.ts'
import { freeze } from '../freeze.ts'
import { getLine, getTicket } from '../store.ts'
import { ordersFor } from './layers-read.ts'

interface Named {
  readonly ticket: string
  readonly line: string
}

/** Work that reads the lacking layers of a ticket on a line; the same lack is the same work. */
export const layerSumsOrder = ({ ticket, line }: Named, lacking: readonly LayerSumOrder[]): WorkOrder => ({
  id: `layer-sums-${sha256Hex(JSON.stringify([ticket, line, lacking])).slice(0, 32)}`,
  kind: 'layer-sums',
  payload: { ticket, line },
  priority: 15,
  attemptsMax: 3,
})

/** Layers read at a time: enough to keep some threads busy. */
const atOnce = 8

/** The handler of `layer-sums` work. What is read already is not read again; lost layers are left to the sums to note. */
export function layerSumsHandler({
  database,
  catalogue,
  layerSums,
}: {
  readonly database: Database
  readonly catalogue: Pick<CatalogueStore, 'current'>
  readonly layerSums: LayerSums
}): WorkHandler {
  return async (payload, { signal, progress }) => {
    const named = payload as Named
    const { content: ticket } = await getTicket({ database }, named.ticket)
    const { content: line } = await getLine({ database }, named.line)
    const lacking = await layerSums.missing(ordersFor({ frozen: freeze(catalogue.current(), ticket), line }))
    let done = 0
    const read = async (order: LayerSumOrder): Promise<void> => {
      await layerSums.of(order, signal).catch((error: unknown) => {
        if (!(error instanceof Problem) || error.code === 'internal' || error.code === 'shutting-down') throw error
      })
      done += 1
      progress(done / lacking.length, `${done} of ${lacking.length} layers read`)
    }
    for (let from = 0; from < lacking.length; from += atOnce) {
      signal.throwIfAborted()
      await Promise.all(lacking.slice(from, from + atOnce).map(read))
    }
    return { layers: lacking.length }
  }
}
