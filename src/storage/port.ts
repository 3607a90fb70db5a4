// The database port: a catalogue (packages, versions, lines, tickets, runs, work) reached through kysely, and the ledgers, which
// have methods of their own because their appends are the hot path and their durability is the product's promise.
import type { Generated, Kysely } from 'kysely'
import type { Digest } from '../kernel/bytes.ts'

/** One published package. `manifest` is the canonical JSON of the manifest; `report` the check's facts, JSON. */
interface PackagesTable {
  job: string
  package: number
  title: string
  digest: string
  manifest: string
  report: string
  /** Digest of the package's code index, where its rule is a table. */
  codeIndex: string | null
  bytes: number
  publishedAtMs: number
  by: string
}

/** One version of a design. `content` is canonical JSON: print versions and layers. Times are set once by acts. */
interface VersionsTable {
  job: string
  design: string
  version: number
  digest: string
  content: string
  firstPackage: number
  releasedAtMs: number | null
  withdrawnAtMs: number | null
}

/** Which package carried which version. */
interface PackageVersionsTable {
  job: string
  package: number
  design: string
  version: number
}

/** Named acts on packages and versions, in order. */
interface ActsTable {
  id: Generated<number>
  atMs: number
  act: string
  by: string
  why: string
  job: string
  package: number | null
  design: string | null
  version: number | null
  /** The second person where policy asks for one, and the keys that they acted with. */
  second: string | null
  key: string | null
  secondKey: string | null
}

/** Line profiles; every stored revision stays. */
interface LinesTable {
  line: string
  revision: number
  digest: string
  content: string
  storedAtMs: number
}

interface TicketsTable {
  ticket: string
  revision: number
  digest: string
  content: string
  storedAtMs: number
}

/** Runs, for lists; the state of a run is what its ledger says. */
interface RunsTable {
  runId: string
  ticket: string
  line: string
  state: string
  epoch: number
  createdAtMs: number
  /** Of the ticket that it opened with; jobs as a JSON list of names. */
  roll: string
  pass: number
  jobs: string
}

/** Keys of people and line controllers. `hash` is the SHA-256 of the secret; the secret itself is nowhere. */
interface KeysTable {
  id: string
  role: string
  person: string | null
  line: string | null
  hash: string
  createdAtMs: number
  createdBy: string
  expiresAtMs: number | null
  revokedAtMs: number | null
  revokedBy: string | null
}

/** What was summed over a layer's pixels through a curve; can be worked out again at any time. `content` is JSON. */
interface LayerSumsTable {
  digest: string
  curve: string
  content: string
}

/** Queued work (see `src/queue`). `payload`, `result` and `error` are JSON. */
export interface WorkTable {
  id: string
  kind: string
  state: string
  priority: number
  payload: string
  attempts: number
  attemptsMax: number
  dueAtMs: number
  progressPpm: number
  progressNote: string
  result: string | null
  error: string | null
  createdAtMs: number
  endedAtMs: number | null
}

interface MetaTable {
  key: string
  value: string
}

export interface Tables {
  packages: PackagesTable
  versions: VersionsTable
  packageVersions: PackageVersionsTable
  acts: ActsTable
  lines: LinesTable
  tickets: TicketsTable
  runs: RunsTable
  work: WorkTable
  keys: KeysTable
  layerSums: LayerSumsTable
  meta: MetaTable
}

/** Entries of one run that become durable together. `bytes` are the canonical entry as hashed, `leaf` their leaf hash. */
export interface LedgerBatch {
  readonly runId: string
  readonly epoch: number
  readonly firstIndex: number
  readonly entries: readonly { readonly bytes: Uint8Array; readonly leaf: Uint8Array }[]
  /** Merkle root of the tree that holds all entries up to and including these. */
  readonly root: Digest
}

/** A committed batch: the tree that its commit left behind. */
export interface LedgerHead {
  readonly treeSize: number
  readonly root: Digest
}

export interface LedgerRow {
  readonly index: number
  readonly bytes: Uint8Array
  readonly leaf: Uint8Array
}

export interface Database {
  readonly engine: 'sqlite' | 'postgres'
  /** The catalogue. Statements run one at a time; a transaction holds the others back, so keep it short and free of waiting. */
  readonly catalogue: Kysely<Tables>
  /**
   * Appends batches of any number of runs in one transaction. Resolves only when they are on stable storage (SQLite: fsync under
   * WAL with synchronous FULL). MUST refuse with `run-held-elsewhere`, writing nothing, when a batch's epoch is lower than the
   * run's last one or its first index is not the next; with `data-full` when the disk is full; else `ledger-unavailable`.
   */
  appendLedger(batches: readonly LedgerBatch[]): Promise<void>
  /** Entries from index `from` (inclusive), at most `count`, in order. Only committed ones. */
  readLedger(range: { runId: string; from: number; count: number }): Promise<readonly LedgerRow[]>
  /** The last committed head of a run, or of the batch that holds entry `index`; undefined where there is none. */
  ledgerHead(runId: string, index?: number): Promise<LedgerHead | undefined>
  /** Every committed head of a run, oldest first. */
  ledgerHeads(runId: string): Promise<readonly LedgerHead[]>
  /** Indices of entries whose bytes contain `text`; a linear scan of the run's entries inside the engine. */
  searchLedger(range: { runId: string; text: string; count: number }): Promise<readonly number[]>
  close(): Promise<void>
}

/** What a check of stored bytes found. */
export type BlobCondition = 'sound' | 'missing' | 'damaged'

/** Content-addressed bytes. Nothing is ever overwritten; a blob appears whole or not at all. */
export interface BlobStore {
  /**
   * Takes in a file or bytes and returns their digest once they are on stable storage (temporary name, fsync, rename, fsync of the
   * folder). With `expected`, bytes of another digest are refused with `file-digest` and nothing is kept. Putting what is there
   * already is cheap, and mends a damaged copy.
   */
  put(
    source: { readonly path: string } | { readonly bytes: Uint8Array },
    expected?: Digest,
  ): Promise<{ digest: Digest; bytes: number }>
  /** Size in bytes; undefined where the blob is absent. */
  size(digest: Digest): Promise<number | undefined>
  /** All bytes, verified against the digest. Problem `blob-not-found` or `blob-damaged`. */
  read(digest: Digest): Promise<Uint8Array>
  /** Bytes from `start` to `end` (both inclusive), as a stream, unverified; call `condition` first. */
  stream(digest: Digest, range?: { readonly start: number; readonly end: number }): NodeJS.ReadableStream
  /** A file on this machine that holds the blob's bytes, unverified; it must not be changed. Problem `blob-not-found`. */
  localFile(digest: Digest): Promise<string>
  /** Re-hashes unless size, times and inode are those of the last sound reading. */
  condition(digest: Digest): Promise<BlobCondition>
}
