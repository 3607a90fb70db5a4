// A job package in memory: the manifest, and the bytes of its files.
import { sha256Hex } from '../src/kernel/bytes.ts'
import type { RegionMm } from './label-layout.ts'
import type { DemoJob } from './orders.ts'

export interface DrawnFile {
  readonly path: string
  readonly bytes: Uint8Array
}

interface DrawnLayer {
  readonly layer: string
  readonly file: string
  readonly sha256: string
  readonly resolution: { readonly acrossDpi: number; readonly alongDpi: number }
  readonly placement: RegionMm
}

export interface DrawnDesign {
  readonly design: string
  readonly version: number
  readonly printVersions: readonly string[]
  readonly layers: readonly DrawnLayer[]
}

export interface DrawnPackage {
  /** Under the demo's folder. */
  readonly folder: string
  readonly manifest: { readonly package: number; readonly designs: readonly DrawnDesign[] }
  /** By path within the package. */
  readonly files: ReadonlyMap<string, Uint8Array>
}

type Laid = { station: 'inkjet'; heightUm: number } | { station: 'foil'; foil: string }

/** The manifest's entry of one layer. */
export function layerEntry(
  file: DrawnFile,
  place: { region: RegionMm; dpi: number },
  laid: Laid & { layer: string; order: number; pass?: number },
) {
  const { layer, station, order, pass = 1, ...rest } = laid
  return {
    layer,
    station,
    pass,
    order,
    scope: 'cell',
    file: file.path,
    sha256: sha256Hex(file.bytes),
    resolution: { acrossDpi: place.dpi, alongDpi: place.dpi },
    ...rest,
    placement: place.region,
  }
}

/** The table of a job whose codes one explains. */
export const tableFiles = ({ code }: DemoJob): readonly DrawnFile[] =>
  code.rule === 'table' ? [{ path: code.file, bytes: Buffer.from(code.csv()) }] : []

function codeOf(job: DemoJob) {
  if (job.code.rule !== 'table') return job.code
  const { csv: _, ...code } = job.code
  return { ...code, sha256: tableFiles(job).map(({ bytes }) => sha256Hex(bytes))[0] }
}

export function manifestOf(job: DemoJob, delivery: { package: number; designs: readonly DrawnDesign[] }) {
  return {
    schema: 'rollcall.job/1',
    job: job.job,
    package: delivery.package,
    title: job.title,
    frame: job.frame,
    code: codeOf(job),
    designs: delivery.designs,
  }
}
