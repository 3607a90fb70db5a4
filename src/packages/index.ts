// The door of packages: manifest, check, publishing, release and withdrawal, the catalogue, previews and the watched folder.
export type { Catalogue, CatalogueChange, JobRecord, VersionRecord, VersionState } from './catalogue.ts'
export { type CatalogueStore, openCatalogue, type RuleOrder } from './catalogue-store.ts'
export { cellRoom } from './clear-zones.ts'
export { compileRule } from './compile-rule.ts'
export { liesWithin, type RectMm, toFrame } from './frame-geometry.ts'
export { type GrayCurve, heightShare } from './gray-curve.ts'
export type { LayerFacts } from './layer-facts.ts'
export { type LayerSum, profileMm, sumPixels, tileGrayMax, tileMm } from './layer-sums.ts'
export { type LayerSumOrder, type LayerSums, openLayerSums } from './layer-sums-store.ts'
export {
  type Manifest,
  type ManifestCell,
  type ManifestDesign,
  type ManifestFrame,
  type ManifestLayer,
  manifestSchema,
} from './manifest.ts'
export {
  type DesignFacts,
  doPackageTask,
  inlineThreads,
  type PackageTask,
  type PackageThreads,
} from './package-check.ts'
export { previewHandler, previewOf, type VersionName } from './preview.ts'
export {
  type CheckReport,
  openPackages,
  type Packages,
  type PackagesDeps,
  type Progress,
  type Published,
} from './publish.ts'
export { type PublishRequest, publishHandler, publishOrder } from './publish-work.ts'
export { clearStaging } from './staging.ts'
export {
  type Released,
  type ReleaseRequest,
  release,
  type VersionsDeps,
  type Withdrawal,
  type WithdrawRequest,
  withdraw,
} from './versions.ts'
export {
  openWatchedFolder,
  type WatchedEvent,
  type WatchedFolder,
  type WatchedFolderOptions,
} from './watched-folder.ts'
