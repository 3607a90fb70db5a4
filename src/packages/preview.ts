// Previews: a small picture of a version's layers put together, drawn after publishing and kept as a blob.
import { type Digest, sha256Hex, toDigest } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { WorkHandler, WorkOrder } from '../queue/port.ts'
import type { BlobStore, Database } from '../storage/port.ts'
import type { JobRecord, VersionRecord } from './catalogue.ts'
import type { CatalogueStore } from './catalogue-store.ts'
import { cellRoom } from './clear-zones.ts'
import { bottomMm, frameRect, labelRect, liesWithin, type RectMm, rightMm, toFrame, toLabel } from './frame-geometry.ts'
import type { ManifestCell, ManifestFrame, ManifestLayer } from './manifest.ts'
import { type PackageThreads, runTask } from './package-check.ts'
import type { PlacedTile } from './preview-picture.ts'
import type { CutPx } from './preview-tile.ts'

/** Longer side of a preview. */
export const previewPxMax = 512

const union = (a: RectMm, b: RectMm): RectMm => {
  const leftMm = Math.min(a.leftMm, b.leftMm)
  const topMm = Math.min(a.topMm, b.topMm)
  return {
    leftMm,
    topMm,
    widthMm: Math.max(rightMm(a), rightMm(b)) - leftMm,
    heightMm: Math.max(bottomMm(a), bottomMm(b)) - topMm,
  }
}

function shared(a: RectMm, b: RectMm): RectMm | undefined {
  const leftMm = Math.max(a.leftMm, b.leftMm)
  const topMm = Math.max(a.topMm, b.topMm)
  const widthMm = Math.min(rightMm(a), rightMm(b)) - leftMm
  const heightMm = Math.min(bottomMm(a), bottomMm(b)) - topMm
  return widthMm > 0 && heightMm > 0 ? { leftMm, topMm, widthMm, heightMm } : undefined
}

/** What a preview shows: one label as it lies in a cell, or the frame where no layer belongs to a cell. */
interface View {
  readonly cell: ManifestCell | undefined
  readonly canvas: RectMm
  readonly pxPerMm: number
}

function viewOf(frame: ManifestFrame, layers: readonly ManifestLayer[]): View {
  const own = layers.filter(({ scope }) => scope === 'cell')
  const fits = (cell: ManifestCell): boolean => own.every(({ placement }) => liesWithin(placement, cellRoom(cell)))
  const cell = own.length > 0 ? (frame.cells.find(fits) ?? frame.cells[0]) : undefined
  const canvas = cell ? own.reduce((room, { placement }) => union(room, placement), labelRect(cell)) : frameRect(frame)
  return { cell, canvas, pxPerMm: previewPxMax / Math.max(canvas.widthMm, canvas.heightMm) }
}

interface Cutting {
  readonly cut: CutPx
  readonly rotateDeg: number
  readonly leftPx: number
  readonly topPx: number
  readonly widthPx: number
  readonly heightPx: number
}

function span(startMm: number, lengthMm: number, dpi: number): { start: number; length: number } {
  const start = Math.max(0, Math.round((startMm / 25.4) * dpi))
  return { start, length: Math.max(1, Math.round(((startMm + lengthMm) / 25.4) * dpi) - start) }
}

// What of a layer shows in a view; undefined when it lies outside.
function cuttingOf(layer: ManifestLayer, { cell, canvas, pxPerMm }: View): Cutting | undefined {
  const { placement, resolution, scope } = layer
  // Layers of the frame are seen in the label's axes: turned back by the cell's own turn.
  const turned = cell !== undefined && scope !== 'cell' ? cell : undefined
  const visible = shared(turned ? toLabel(turned, placement) : placement, canvas)
  if (!visible) return undefined
  const source = turned ? toFrame(turned, visible) : visible
  const across = span(source.leftMm - placement.leftMm, source.widthMm, resolution.acrossDpi)
  const along = span(source.topMm - placement.topMm, source.heightMm, resolution.alongDpi)
  return {
    cut: { left: across.start, top: along.start, width: across.length, height: along.length },
    rotateDeg: turned ? (360 - turned.rotateDeg) % 360 : 0,
    leftPx: Math.round((visible.leftMm - canvas.leftMm) * pxPerMm),
    topPx: Math.round((visible.topMm - canvas.topMm) * pxPerMm),
    widthPx: Math.max(1, Math.round(visible.widthMm * pxPerMm)),
    heightPx: Math.max(1, Math.round(visible.heightMm * pxPerMm)),
  }
}

interface Drawing {
  readonly blobs: Pick<BlobStore, 'read'>
  readonly threads: PackageThreads
  readonly signal?: AbortSignal
}

/** Draws a version's preview as a PNG of at most 512 pixels on the longer side. One layer is in memory at a time. */
export async function drawPreview(
  version: Pick<VersionRecord, 'layers'>,
  frame: ManifestFrame,
  { blobs, threads, signal }: Drawing,
): Promise<Uint8Array> {
  const view = viewOf(frame, version.layers)
  const tiles: PlacedTile[] = []
  for (const layer of version.layers.toSorted((a, b) => a.pass - b.pass || a.order - b.order)) {
    const cutting = cuttingOf(layer, view)
    if (!cutting) continue
    const { leftPx, topPx, ...rest } = cutting
    const bytes = await blobs.read(toDigest(layer.sha256))
    const tile = await runTask(threads, { task: 'tile', bytes, ...rest }, signal)
    tiles.push({ tile, leftPx, topPx, ...(layer.heightUm === undefined ? {} : { heightUm: layer.heightUm }) })
  }
  const widthPx = Math.max(1, Math.round(view.canvas.widthMm * view.pxPerMm))
  const heightPx = Math.max(1, Math.round(view.canvas.heightMm * view.pxPerMm))
  return runTask(threads, { task: 'picture', widthPx, heightPx, tiles }, signal)
}

/** The name of a version. */
export interface VersionName {
  readonly job: string
  readonly design: string
  readonly version: number
}

// Names hold no slash, so the key tells them apart.
const metaKey = ({ job, design, version }: VersionName): string => `preview/${job}/${design}/${version}`

/** Work to draw the preview of a version; the same version is drawn once. */
export const previewOrder = ({ job, design, version }: VersionName): WorkOrder => ({
  id: `preview-${sha256Hex(metaKey({ job, design, version })).slice(0, 32)}`,
  kind: 'preview',
  payload: { job, design, version },
  priority: 20,
  attemptsMax: 3,
})

/** Digest of a version's preview; undefined until it is drawn. */
export async function previewOf(
  database: Pick<Database, 'catalogue'>,
  named: VersionName,
): Promise<Digest | undefined> {
  const row = await database.catalogue
    .selectFrom('meta')
    .select('value')
    .where('key', '=', metaKey(named))
    .executeTakeFirst()
  return row ? toDigest(row.value) : undefined
}

function findVersion(store: CatalogueStore, { job, design, version }: VersionName): [VersionRecord, JobRecord] {
  const record = store.current().jobs.get(job)
  const found = record?.designs.get(design)?.find((one) => one.version === version)
  if (!record || !found)
    throw new Problem('version-not-found', `version ${version} of ${job} ${design} is not published`)
  return [found, record]
}

/** The handler of `preview` work. Drawing again gives the same bytes, so it may run twice. */
export function previewHandler({
  database,
  blobs,
  catalogue,
  threads,
}: {
  readonly database: Pick<Database, 'catalogue'>
  readonly blobs: BlobStore
  readonly catalogue: CatalogueStore
  readonly threads: PackageThreads
}): WorkHandler {
  return async (payload, { signal }) => {
    const [version, job] = findVersion(catalogue, payload as VersionName)
    const { digest, bytes } = await blobs.put({
      bytes: await drawPreview(version, job.frame, { blobs, threads, signal }),
    })
    await database.catalogue
      .insertInto('meta')
      .values({ key: metaKey(version), value: digest })
      .onConflict((conflict) => conflict.column('key').doUpdateSet({ value: digest }))
      .execute()
    return { digest, bytes }
  }
}
