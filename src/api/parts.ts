// What the routes work with; put together in main.
import type { Logger } from 'pino'
import type { Clock } from '../kernel/clock.ts'
import type { CatalogueStore, LayerSums } from '../packages/index.ts'
import type { Keys, PeoplePolicy } from '../people/index.ts'
import type { WorkQueue } from '../queue/port.ts'
import type { Captures, Runs } from '../runs/index.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import type { Metrics } from './metrics.ts'
import type { ReadersView } from './readers-view.ts'

export interface ApiParts {
  readonly version: string
  readonly database: Database
  readonly blobs: BlobStore
  readonly catalogue: CatalogueStore
  readonly layerSums: LayerSums
  readonly queue: WorkQueue
  readonly runs: Runs
  readonly captures: Captures
  readonly keys: Keys
  readonly policy: PeoplePolicy
  /** Host names, beside the loopback ones, under which requests may come (a proxy's, or this machine's on the network). */
  readonly hosts: readonly string[]
  readonly clock: Clock
  readonly log: Logger
  readonly metrics: Metrics
  /** Plain code readers and streams of pictures; absent: none are configured. */
  readonly readers?: () => ReadersView
  /** Folder for uploads that are being taken in. */
  readonly spoolFolder: string
  /** The signed checkpoint of a run's ledger as it is durable now. */
  readonly checkpoint: (runId: string) => Promise<string>
  /** The installation's public key, as a verifier takes it. */
  readonly verifierKey: string
  /** All codes in a picture (CLI `read`); reads in a worker thread. */
  readonly readPicture: (file: string) => Promise<unknown>
  /** False while starting and stopping. */
  readonly ready: () => boolean
}
