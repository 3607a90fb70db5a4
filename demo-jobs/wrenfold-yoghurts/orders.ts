// The yoghurts: designs are trade items, so that a GS1 code names them.
import { type DemoDesign, type DemoJob, first } from '../orders.ts'
import { potLayout } from './layout.ts'
import { tradeNumber } from './trade-numbers.ts'
import { webFrame } from './web.ts'

const fruits = [
  { flavour: 'cherry', groundGray: 216 },
  { flavour: 'plum', groundGray: 206 },
  { flavour: 'quince', groundGray: 228 },
  { flavour: 'elder', groundGray: 236 },
] as const

/** Design names by fruit. */
export const items = {
  cherry: tradeNumber(101),
  plum: tradeNumber(102),
  quince: tradeNumber(103),
  elder: tradeNumber(104),
} as const

const designs = fruits.map(
  ({ flavour, groundGray }): DemoDesign => ({
    design: items[flavour],
    flavour,
    title: flavour.toUpperCase(),
    subtitle: 'YOGHURT',
    net: '150 G',
    groundGray,
    layout: potLayout,
  }),
)

const both = ['01', '02']

export const yoghurts: DemoJob = {
  folder: 'wrenfold-yoghurts',
  job: 'WF2614',
  title: 'Wrenfold yoghurts: one fruit a frame',
  brand: 'WRENFOLD',
  frame: webFrame,
  code: { rule: 'gs1', symbologies: ['qr'], design: '01', print: '22', serial: '21' },
  designs,
  packages: [
    {
      folder: 'package-1',
      package: 1,
      versions: [
        first(items.cherry, ['01']),
        ...[items.plum, items.quince, items.elder].map((design) => first(design, both)),
      ],
    },
    {
      folder: 'package-2',
      package: 2,
      versions: [{ design: items.cherry, version: 2, printVersions: ['02'] }],
    },
  ],
}

/** Delivered with the others, released by nobody. */
export const neverReleased = { job: yoghurts.job, design: items.elder } as const
