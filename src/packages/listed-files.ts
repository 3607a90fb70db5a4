// The files that a manifest lists, read leniently: only to tell whether they have all arrived.
import { readFileSync, statSync } from 'node:fs'
import { limits } from '../kernel/limits.ts'
import { readManifest } from './manifest-reading.ts'

/** A file that a manifest lists, with its digest. */
export interface ListedFile {
  readonly file: string
  readonly sha256: string
}

/** Files of the manifest at `path`; undefined as long as it does not parse or fit its schema. Never throws. */
export function readListedFiles(path: string): readonly ListedFile[] | undefined {
  try {
    if (statSync(path).size > limits.manifestBytesMax) return undefined
    const { whole } = readManifest(readFileSync(path)).parts
    if (!whole) return undefined
    const layers = whole.designs.flatMap((design) => design.layers.map(({ file, sha256 }) => ({ file, sha256 })))
    return whole.code.rule === 'table' ? [...layers, { file: whole.code.file, sha256: whole.code.sha256 }] : layers
  } catch {
    return undefined
  }
}
