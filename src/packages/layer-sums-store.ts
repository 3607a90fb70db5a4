// Layer sums, each worked out once in a worker thread and kept in the database by the layer's digest and the curve it went through.
import { canonicalText, type Digest, sha256Hex } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import type { GrayCurve } from './gray-curve.ts'
import type { LayerSum } from './layer-sums.ts'
import { packSum, unpackSum } from './layer-sums-text.ts'
import type { ManifestLayer } from './manifest.ts'
import { type PackageThreads, runTask } from './package-check.ts'

export interface LayerSumOrder {
  readonly digest: Digest
  readonly resolution: ManifestLayer['resolution']
  /** Absent: height = gray. */
  readonly curve?: GrayCurve
}

export interface LayerSums {
  /**
   * The sum of a layer; read through in a thread where it is not known yet. Problems: `blob-not-found`, `blob-damaged`,
   * `image-unreadable`.
   */
  of(order: LayerSumOrder, signal?: AbortSignal): Promise<LayerSum>
  /** Which of these would have to be read first, each once. Those whose bytes are lost or damaged are not among them. */
  missing(orders: readonly LayerSumOrder[]): Promise<readonly LayerSumOrder[]>
}

// What is kept depends on this; a change of either the pass or the packing raises it, and everything is read anew.
const edition = 1

const keyOf = ({ resolution, curve }: LayerSumOrder): string =>
  sha256Hex(canonicalText({ edition, resolution, ...(curve ? { curve } : {}) }))

interface Deps {
  readonly database: Pick<Database, 'catalogue'>
  readonly blobs: Pick<BlobStore, 'condition' | 'localFile'>
  readonly threads: PackageThreads
}

async function soundFile({ blobs }: Deps, digest: Digest): Promise<string> {
  const condition = await blobs.condition(digest)
  if (condition === 'missing') throw new Problem('blob-not-found', `no layer has the digest ${digest}`)
  if (condition === 'damaged')
    throw new Problem('blob-damaged', `the stored bytes of ${digest} are damaged; publish the package again`)
  return blobs.localFile(digest)
}

async function read(deps: Deps, order: LayerSumOrder): Promise<LayerSum> {
  const { digest, resolution, curve } = order
  const stored = await soundFile(deps, digest)
  const sum = await runTask(deps.threads, { task: 'sum', stored, resolution, ...(curve ? { curve } : {}) })
  await deps.database.catalogue
    .insertInto('layerSums')
    .values({ digest, curve: keyOf(order), content: packSum(sum) })
    .onConflict((conflict) => conflict.columns(['digest', 'curve']).doNothing())
    .execute()
  return sum
}

const textOf = ({ database }: Deps, { digest, curve }: { digest: Digest; curve: string }) =>
  database.catalogue
    .selectFrom('layerSums')
    .select('content')
    .where('digest', '=', digest)
    .where('curve', '=', curve)
    .executeTakeFirst()

// Whoever gives up waits no longer; the reading goes on for others, who may wait for the same layer, and is kept.
async function untilAborted<T>(work: Promise<T>, signal: AbortSignal | undefined): Promise<T> {
  if (!signal) return work
  signal.throwIfAborted()
  work.catch(() => undefined)
  let stop = (): void => undefined
  const aborted = new Promise<never>((_resolve, reject) => {
    stop = () => reject(signal.reason)
    signal.addEventListener('abort', stop, { once: true })
  })
  return Promise.race([work, aborted]).finally(() => signal.removeEventListener('abort', stop))
}

/** Opens the layer sums over a database, the stored layers and the threads that read them. */
export function openLayerSums(deps: Deps): LayerSums {
  const underWay = new Map<string, Promise<LayerSum>>()
  const readOnce = (order: LayerSumOrder, curve: string): Promise<LayerSum> => {
    const key = `${order.digest} ${curve}`
    const known = underWay.get(key)
    if (known) return known
    const reading = read(deps, order).finally(() => underWay.delete(key))
    underWay.set(key, reading)
    return reading
  }
  return {
    async of(order, signal) {
      const curve = keyOf(order)
      const row = await textOf(deps, { digest: order.digest, curve })
      return row ? unpackSum(row.content) : untilAborted(readOnce(order, curve), signal)
    },
    async missing(orders) {
      const wanted = new Map(orders.map((order) => [`${order.digest} ${keyOf(order)}`, order]))
      const lacking: LayerSumOrder[] = []
      for (const order of wanted.values()) {
        const row = await deps.database.catalogue
          .selectFrom('layerSums')
          .select('digest')
          .where('digest', '=', order.digest)
          .where('curve', '=', keyOf(order))
          .executeTakeFirst()
        if (!row && (await deps.blobs.condition(order.digest)) === 'sound') lacking.push(order)
      }
      return lacking
    },
  }
}
