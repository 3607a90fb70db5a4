// What a demo job is: its designs, the versions that its packages deliver, its web and its matching rule.
import type { LabelLayout } from './label-layout.ts'
import type { Flavour } from './pictures.ts'
import type { DemoFrame } from './web.ts'

export interface DemoDesign {
  readonly design: string
  readonly flavour: Flavour
  readonly title: string
  readonly subtitle: string
  readonly net: string
  /** Gray of the printed ground, 0 to 255. */
  readonly groundGray: number
  readonly layout: LabelLayout
}

export interface DemoVersion {
  readonly design: string
  readonly version: number
  readonly printVersions: readonly string[]
}

export interface DemoPackage {
  readonly folder: string
  readonly package: number
  readonly versions: readonly DemoVersion[]
}

/** The manifest's `code`; a table's digest is worked out when its CSV is drawn. */
export type DemoCode =
  | { readonly rule: 'template'; readonly symbologies: readonly string[]; readonly template: string }
  | {
      readonly rule: 'table'
      readonly symbologies: readonly string[]
      readonly file: string
      readonly csv: () => string
    }
  | {
      readonly rule: 'gs1'
      readonly symbologies: readonly string[]
      readonly design: string
      readonly print: string
      readonly serial: string
    }

export interface DemoJob {
  /** Under the demo's folder. */
  readonly folder: string
  readonly job: string
  readonly title: string
  readonly brand: string
  readonly frame: DemoFrame
  readonly code: DemoCode
  /** The pass that lays the raised varnish; absent: the first, with the foil. */
  readonly reliefPass?: number
  readonly designs: readonly DemoDesign[]
  readonly packages: readonly DemoPackage[]
}

/** Version 1 of a design. */
export const first = (design: string, printVersions: readonly string[]): DemoVersion => ({
  design,
  version: 1,
  printVersions,
})

/** The newest version among the packages given that fits a print version; undefined where none does. */
export function fittingVersion(job: DemoJob, design: string, print: string): number | undefined {
  const fits = job.packages
    .flatMap((delivery) => delivery.versions)
    .filter((version) => version.design === design && version.printVersions.includes(print))
  return fits.length === 0 ? undefined : Math.max(...fits.map((version) => version.version))
}

export function designNamed({ job, designs }: DemoJob, name: string): DemoDesign {
  const design = designs.find((candidate) => candidate.design === name)
  if (!design) throw new Error(`invariant broken: ${job} has the design ${name}`)
  return design
}
