// Whether a drop has arrived whole: a folder when each file that its manifest lists has the listed digest, a ZIP when its directory,
// which is written last, reads. Files that did not change are not hashed again.
import { join } from 'node:path'
import type { DropListing } from './drop-listing.ts'
import type { DigestedFile } from './file-digests.ts'
import type { ListedFile } from './listed-files.ts'
import { type PackageThreads, runTask } from './package-check.ts'
import { pathKey } from './package-path.ts'
import { withZip } from './zip-intake.ts'

export interface Arrival {
  /** Looks at the drop as it is listed now. `previous` is the listing before, absent at first sight. */
  isWhole(listing: DropListing, previous: DropListing | undefined): Promise<boolean>
}

const filesPerTask = 8

async function readsAsZip(path: string): Promise<boolean> {
  try {
    return await withZip(path, async () => true)
  } catch {
    return false
  }
}

/** Opens the watch over one drop's arrival. Hashing runs in the threads. */
export function openArrival(path: string, threads: PackageThreads): Arrival {
  const digests = new Map<string, DigestedFile>()
  let listed: { readonly mark: string; readonly files: readonly ListedFile[] | undefined } | undefined

  const listedFiles = async (mark: string): Promise<readonly ListedFile[] | undefined> => {
    if (listed?.mark !== mark) {
      listed = { mark, files: await runTask(threads, { task: 'listed', path: join(path, 'job.json') }) }
    }
    return listed.files
  }

  const digestAll = async (names: readonly string[]): Promise<void> => {
    for (let at = 0; at < names.length; at += filesPerTask) {
      const piece = names.slice(at, at + filesPerTask)
      const found = await runTask(threads, { task: 'digests', paths: piece.map((name) => join(path, name)) })
      for (const [i, name] of piece.entries()) {
        const one = found[i]
        if (one) digests.set(name, one)
      }
    }
  }

  const isFolderWhole = async ({ marks }: DropListing, previous: DropListing | undefined): Promise<boolean> => {
    const manifestMark = marks.get('job.json')
    const files = manifestMark === undefined ? undefined : await listedFiles(manifestMark)
    if (!files) return false
    const names = new Map([...marks.keys()].map((name) => [pathKey(name), name]))
    const wanted: { name: string; sha256: string }[] = []
    for (const { file, sha256 } of files) {
      const name = names.get(pathKey(file))
      if (name === undefined) return false
      wanted.push({ name, sha256 })
    }
    // A file that is still growing is not worth hashing; at first sight all are, since a finished folder may have been moved in.
    const isStill = (name: string): boolean => previous === undefined || previous.marks.get(name) === marks.get(name)
    const stale = wanted.filter(({ name }) => digests.get(name)?.mark !== marks.get(name) && isStill(name))
    await digestAll([...new Set(stale.map(({ name }) => name))])
    return wanted.every(({ name, sha256 }) => {
      const one = digests.get(name)
      return one?.digest === sha256 && one.mark === marks.get(name)
    })
  }

  return {
    isWhole(listing, previous) {
      if (listing.kind === 'folder') return isFolderWhole(listing, previous)
      return previous?.print === listing.print ? readsAsZip(path) : Promise.resolve(false)
    },
  }
}
