// The sums of a run's ticket as the run froze it, with what its sequence counts: the forecast that the record sets against what was laid.
import { type LayerSumOf, ordersFor, sumOrder, sumTicket } from '../../lines/index.ts'
import type { CatalogueStore, LayerSums } from '../../packages/index.ts'
import type { BlobStore } from '../../storage/port.ts'
import { countedIn } from '../readiness.ts'
import type { Run } from '../run.ts'
import type { ForecastSums } from './consumption.ts'

export interface ForecastParts {
  readonly blobs: Pick<BlobStore, 'condition' | 'localFile'>
  readonly catalogue: CatalogueStore
  readonly layerSums: LayerSums
}

/** Only where every layer's pixels were summed before, since a record should not wait for that; else undefined. */
export async function forecastOf(parts: ForecastParts, { state }: Run): Promise<ForecastSums | undefined> {
  const { ticket, line, frozen } = state
  const layerSums: LayerSumOf = (layer, station) => parts.layerSums.of(sumOrder(layer, station))
  const inquiry = { ticket, line, frozen, layerSums }
  if ((await parts.layerSums.missing(ordersFor(inquiry))).length > 0) return undefined
  return sumTicket({ ...inquiry, ...(await countedIn(parts, state)) })
}
