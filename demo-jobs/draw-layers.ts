// Draws the demo's job packages: layer files, code tables and manifests. `npx tsx demo-jobs/draw-layers.ts [folder]` writes them anew, byte for
// byte the same; without a folder it writes where they are kept.
import { mkdir, rm, writeFile } from 'node:fs/promises'
import { dirname, join } from 'node:path'
import { foilArt, varnishArt } from './artwork.ts'
import {
  type DrawnDesign,
  type DrawnFile,
  type DrawnPackage,
  layerEntry,
  manifestOf,
  tableFiles,
} from './drawn-package.ts'
import { demoFolder } from './folders.ts'
import { foilMask, heightLayer, type LayerFormat } from './layer-files.ts'
import { type DemoDesign, type DemoJob, type DemoPackage, type DemoVersion, designNamed } from './orders.ts'
import { preserves } from './quillgarth-preserves/orders.ts'
import { spoiledPackage } from './quillgarth-preserves/spoiled-package.ts'
import { demoScenarios } from './scenarios.ts'

const varnishDpi = 360
const foilDpi = 600
const heightUmOf = (version: number): number => (version === 1 ? 60 : 90)

// Depths and formats take turns, so that the demo has every kind that a package may hold.
const varnishKind = (index: number): { depth: 8 | 16; format: LayerFormat } => ({
  depth: index % 3 === 2 ? 16 : 8,
  format: index % 2 === 0 ? 'png' : 'tif',
})
const foilFormat = (index: number): LayerFormat => (index % 2 === 0 ? 'tif' : 'png')

interface Drawing {
  readonly job: DemoJob
  readonly design: DemoDesign
  readonly index: number
  readonly version: number
}

const stemOf = ({ design, version }: Drawing): string => `${design.design.toLowerCase()}-v${version}`

async function drawFoil(drawing: Drawing): Promise<{ file: DrawnFile; entry: ReturnType<typeof layerEntry> }> {
  const art = foilArt(drawing.design, drawing.job.brand, drawing.version)
  const format = foilFormat(drawing.index)
  const file = { path: `foil/${stemOf(drawing)}.${format}`, bytes: await foilMask(art, { dpi: foilDpi, format }) }
  const place = { region: art.region, dpi: foilDpi }
  return { file, entry: layerEntry(file, place, { layer: 'gold', station: 'foil', order: 1, foil: 'gold-satin' }) }
}

async function drawVarnish(drawing: Drawing): Promise<{ file: DrawnFile; entry: ReturnType<typeof layerEntry> }> {
  const art = varnishArt(drawing.design, drawing.version)
  const kind = varnishKind(drawing.index)
  const bytes = await heightLayer(art, { dpi: varnishDpi, ...kind })
  const file = { path: `varnish/${stemOf(drawing)}.${kind.format}`, bytes }
  const place = { region: art.region, dpi: varnishDpi }
  const heightUm = heightUmOf(drawing.version)
  const pass = drawing.job.reliefPass ?? 1
  return { file, entry: layerEntry(file, place, { layer: 'relief', station: 'inkjet', order: 2, pass, heightUm }) }
}

async function drawVersion(job: DemoJob, version: DemoVersion): Promise<{ design: DrawnDesign; files: DrawnFile[] }> {
  const design = designNamed(job, version.design)
  const drawing = { job, design, index: job.designs.indexOf(design), version: version.version }
  const layers = [await drawFoil(drawing), await drawVarnish(drawing)]
  return {
    design: { ...version, layers: layers.map(({ entry }) => entry) },
    files: layers.map(({ file }) => file),
  }
}

async function drawPackage(job: DemoJob, delivery: DemoPackage): Promise<DrawnPackage> {
  const designs: DrawnDesign[] = []
  const files = new Map(tableFiles(job).map(({ path, bytes }) => [path, bytes]))
  for (const version of delivery.versions) {
    const drawn = await drawVersion(job, version)
    designs.push(drawn.design)
    for (const { path, bytes } of drawn.files) files.set(path, bytes)
  }
  const folder = join(job.folder, delivery.folder)
  return { folder, manifest: manifestOf(job, { package: delivery.package, designs }), files }
}

/** Every job of the demo, each once. */
export const demoJobs: readonly DemoJob[] = [...new Set(demoScenarios.flatMap(({ jobs }) => jobs))]

/** Draws every package of the demo; the spoiled one comes last. */
export async function drawPackages(): Promise<readonly DrawnPackage[]> {
  const drawn: DrawnPackage[] = []
  for (const job of demoJobs) {
    for (const delivery of job.packages) drawn.push(await drawPackage(job, delivery))
  }
  const second = drawn.find(({ folder }) => folder === join(preserves.folder, 'package-2'))
  if (!second) throw new Error('invariant broken: the spoiled package is made of package 2')
  return [...drawn, await spoiledPackage(second)]
}

// The manifest comes last, as it does in a complete delivery.
async function writePackage(drawn: DrawnPackage, root: string): Promise<void> {
  const folder = join(root, drawn.folder)
  await rm(folder, { recursive: true, force: true })
  for (const [path, bytes] of drawn.files) {
    await mkdir(dirname(join(folder, path)), { recursive: true })
    await writeFile(join(folder, path), bytes)
  }
  await writeFile(join(folder, 'job.json'), `${JSON.stringify(drawn.manifest, null, 2)}\n`)
}

if (import.meta.filename === process.argv[1]) {
  const root = process.argv[2] ?? demoFolder
  for (const drawn of await drawPackages()) {
    await writePackage(drawn, root)
    const bytes = [...drawn.files.values()].reduce((sum, file) => sum + file.length, 0)
    process.stdout.write(`${drawn.folder}: ${drawn.files.size} files, ${Math.round(bytes / 1024)} kB\n`)
  }
}
