// The invented converter's two jobs: which designs they have, and which versions each package delivers.
import type { Flavour } from './pictures.ts'

export interface DemoDesign {
  readonly design: string
  readonly flavour: Flavour
  readonly title: string
  readonly subtitle: string
  readonly net: string
  /** Gray of the printed ground, 0 to 255. */
  readonly groundGray: number
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

export interface DemoJob {
  readonly folder: string
  readonly job: string
  readonly title: string
  readonly brand: string
  readonly template: string
  readonly designs: readonly DemoDesign[]
  readonly packages: readonly DemoPackage[]
}

const subtitles = { EN: 'PRESERVE', DE: 'FRUCHTAUFSTRICH', FR: 'CONFITURE' } as const
type Language = keyof typeof subtitles

function flavourDesigns(flavour: Flavour, groundGray: number, titles: Record<Language, string>): DemoDesign[] {
  return (Object.keys(titles) as Language[]).map((language) => ({
    design: `${flavour.toUpperCase()}-${language}`,
    flavour,
    title: titles[language],
    subtitle: subtitles[language],
    net: '340 G',
    groundGray,
  }))
}

const template = '{job}/{design}/{print:2}/{serial:6d}'

/** First version of a design; designs that were redrawn for print version 02 fit 01 alone. */
const first = (design: string, printVersions: readonly string[]): DemoVersion => ({ design, version: 1, printVersions })
const second = (design: string): DemoVersion => ({ design, version: 2, printVersions: ['02'] })
const both = ['01', '02']

export const preserves: DemoJob = {
  folder: 'quillgarth-preserves',
  job: 'QG2608',
  title: 'Quillgarth preserves, spring: four fruits in three languages',
  brand: 'QUILLGARTH',
  template,
  designs: [
    ...flavourDesigns('quince', 226, { EN: 'QUINCE', DE: 'QUITTE', FR: 'COING' }),
    ...flavourDesigns('plum', 204, { EN: 'PLUM', DE: 'PFLAUME', FR: 'PRUNE' }),
    ...flavourDesigns('cherry', 214, { EN: 'CHERRY', DE: 'KIRSCHE', FR: 'CERISE' }),
    ...flavourDesigns('elder', 236, { EN: 'ELDER', DE: 'HOLUNDER', FR: 'SUREAU' }),
  ],
  packages: [
    {
      folder: 'package-1',
      package: 1,
      versions: [
        ...['QUINCE-EN', 'QUINCE-DE', 'QUINCE-FR'].map((design) => first(design, both)),
        ...['PLUM-EN', 'PLUM-DE', 'PLUM-FR'].map((design) => first(design, ['01'])),
        ...['CHERRY-EN', 'CHERRY-DE', 'ELDER-EN', 'ELDER-FR'].map((design) => first(design, both)),
        first('ELDER-DE', ['01']),
      ],
    },
    {
      folder: 'package-2',
      package: 2,
      versions: ['QUINCE-EN', 'QUINCE-DE', 'QUINCE-FR', 'PLUM-EN', 'PLUM-DE', 'PLUM-FR', 'ELDER-DE'].map(second),
    },
    { folder: 'package-3', package: 3, versions: [first('CHERRY-FR', ['02'])] },
  ],
}

/** Another customer's job, run on the same press the day before; some of its labels are on the demo's roll. */
export const teas: DemoJob = {
  folder: 'pimmerby-teas',
  job: 'PT2594',
  title: 'Pimmerby teas: two infusions',
  brand: 'PIMMERBY',
  template,
  designs: [
    { design: 'MINT-EN', flavour: 'mint', title: 'MINT', subtitle: 'HERBAL TEA', net: '20 BAGS', groundGray: 222 },
    {
      design: 'FENNEL-EN',
      flavour: 'fennel',
      title: 'FENNEL',
      subtitle: 'HERBAL TEA',
      net: '20 BAGS',
      groundGray: 232,
    },
  ],
  packages: [
    { folder: 'package-1', package: 1, versions: ['MINT-EN', 'FENNEL-EN'].map((design) => first(design, ['01'])) },
  ],
}

export const demoJobs: readonly DemoJob[] = [preserves, teas]

/** The newest version among the packages given that fits a print version; undefined where none does. */
export function fittingVersion(job: DemoJob, design: string, print: string): number | undefined {
  const fits = job.packages
    .flatMap((delivery) => delivery.versions)
    .filter((version) => version.design === design && version.printVersions.includes(print))
  return fits.length === 0 ? undefined : Math.max(...fits.map((version) => version.version))
}
