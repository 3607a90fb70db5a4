// The gins, and last winter's job of the same house: a table says what every code stands for.
import { type DemoJob, first } from '../orders.ts'
import { ginDesigns, ginsJob, winterDesigns, winterJob } from './designs.ts'
import { ginTable, winterTable } from './table.ts'
import { webFrame } from './web.ts'

const table = { rule: 'table', symbologies: ['data-matrix'], file: 'codes.csv' } as const
const brand = 'THRUSHWICK'

export const gins: DemoJob = {
  folder: 'thrushwick-gins',
  job: ginsJob,
  title: 'Thrushwick gins: two spirits in three bottles, every label with a code of its own',
  brand,
  frame: webFrame,
  code: { ...table, csv: ginTable },
  designs: ginDesigns,
  packages: [{ folder: 'package-1', package: 1, versions: ginDesigns.map(({ design }) => first(design, ['01'])) }],
}

/** Run half a year ago; some of its labels are on the gins' roll. */
export const winter: DemoJob = {
  folder: 'thrushwick-winter',
  job: winterJob,
  title: 'Thrushwick gins, winter: a miniature',
  brand,
  frame: webFrame,
  code: { ...table, csv: winterTable },
  designs: winterDesigns,
  packages: [{ folder: 'package-1', package: 1, versions: winterDesigns.map(({ design }) => first(design, ['01'])) }],
}
