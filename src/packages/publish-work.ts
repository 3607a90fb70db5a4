// Publishing as queued work, and the previews that follow it.
import { rm } from 'node:fs/promises'
import * as z from 'zod'
import { canonicalText, sha256Hex } from '../kernel/bytes.ts'
import { Problem, problemTable } from '../kernel/problem.ts'
import type { WorkHandler, WorkOrder, WorkQueue } from '../queue/port.ts'
import type { CatalogueStore } from './catalogue-store.ts'
import { previewOrder } from './preview.ts'
import type { Packages, Published } from './publish.ts'

const payloadSchema = z.strictObject({ path: z.string(), by: z.string(), removeSource: z.boolean() })

/** What to publish: `path` is a folder or ZIP; with `removeSource` it is removed once it is published or refused for good. */
export interface PublishRequest {
  readonly path: string
  readonly by: string
  /** Tells this source's bytes from others at the same path: a digest of them, or of sizes and times. */
  readonly identity: string
  readonly removeSource?: boolean
}

/** The same source asked for twice is one piece of work. */
export const publishOrder = ({ path, by, identity, removeSource = false }: PublishRequest): WorkOrder => ({
  id: `publish-${sha256Hex(canonicalText({ path, identity })).slice(0, 32)}`,
  kind: 'publish',
  payload: { path, by, removeSource },
})

/** Whether trying again later can help; such work keeps its source. */
const isPassing = (error: unknown): boolean => !(error instanceof Problem) || problemTable[error.code].retry === 'later'

// All versions of the package, not only new ones: a crash may have come between publishing and this.
async function askForPreviews(
  queue: Pick<WorkQueue, 'enqueue'>,
  catalogue: CatalogueStore,
  { job, package: number }: Published,
): Promise<void> {
  const designs = catalogue.current().jobs.get(job)?.designs ?? new Map()
  for (const version of [...designs.values()].flat()) {
    if (version.packages.includes(number)) await queue.enqueue(previewOrder(version))
  }
}

/** The handler of `publish` work. A second run finds the package published and says `unchanged`. */
export function publishHandler({
  packages,
  catalogue,
  queue,
}: {
  readonly packages: Packages
  readonly catalogue: CatalogueStore
  readonly queue: Pick<WorkQueue, 'enqueue'>
}): WorkHandler {
  return async (payload, { progress, signal }): Promise<Published> => {
    const { path, by, removeSource } = payloadSchema.parse(payload)
    const remove = async (): Promise<void> => {
      if (removeSource) await rm(path, { recursive: true, force: true })
    }
    try {
      const published = await packages.publish({ path, by, signal, progress })
      await askForPreviews(queue, catalogue, published)
      await remove()
      return published
    } catch (error) {
      if (!isPassing(error)) await remove()
      throw error
    }
  }
}
