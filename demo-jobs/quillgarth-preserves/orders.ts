// Preserves, and the teas that share their web: which designs they have, and which versions each package delivers.
import { type DemoDesign, type DemoJob, type DemoVersion, first } from '../orders.ts'
import type { Flavour } from '../pictures.ts'
import { jarLayout } from './layout.ts'
import { webFrame } from './web.ts'

/** A job whose codes a template describes. */
type TemplateJob = DemoJob & { readonly template: string }

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
    layout: jarLayout,
  }))
}

const template = '{job}/{design}/{print:2}/{serial:6d}'
const code = { rule: 'template', symbologies: ['qr'], template } as const

const second = (design: string): DemoVersion => ({ design, version: 2, printVersions: ['02'] })
const both = ['01', '02']

export const preserves: TemplateJob = {
  folder: 'quillgarth-preserves',
  job: 'QG2608',
  title: 'Quillgarth preserves, spring: four fruits in three languages',
  brand: 'QUILLGARTH',
  frame: webFrame,
  code,
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
      // Designs that were redrawn for print version 02 fit 01 alone.
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

/** Another customer's job, run on the same press the day before; some of its labels are on other rolls. */
export const teas: TemplateJob = {
  folder: 'pimmerby-teas',
  job: 'PT2594',
  title: 'Pimmerby teas: two infusions',
  brand: 'PIMMERBY',
  frame: webFrame,
  code,
  template,
  designs: (['mint', 'fennel'] as const).map((flavour) => ({
    design: `${flavour.toUpperCase()}-EN`,
    flavour,
    title: flavour.toUpperCase(),
    subtitle: 'HERBAL TEA',
    net: '20 BAGS',
    groundGray: flavour === 'mint' ? 222 : 232,
    layout: jarLayout,
  })),
  packages: [
    { folder: 'package-1', package: 1, versions: ['MINT-EN', 'FENNEL-EN'].map((design) => first(design, ['01'])) },
  ],
}
