// The honeys: foil in the first pass, raised varnish in the second, over labels that carry a serial number each.
import { type DemoJob, first } from '../orders.ts'
import { jarLayout } from '../quillgarth-preserves/layout.ts'
import { webFrame } from './web.ts'

const honeys = [
  { design: 'HEATHER', flavour: 'fennel', title: 'HEATHER', groundGray: 224 },
  { design: 'LINDEN', flavour: 'mint', title: 'LINDEN', groundGray: 234 },
  { design: 'ORCHARD', flavour: 'cherry', title: 'ORCHARD', groundGray: 214 },
] as const

const template = '{job}/{design}/{print:2}/{serial:6d}'

export const honeyJob: DemoJob & { readonly template: string } = {
  folder: 'larkmere-honeys',
  job: 'LM2617',
  title: 'Larkmere honeys: foil first, varnish in a second pass',
  brand: 'LARKMERE',
  frame: webFrame,
  code: { rule: 'template', symbologies: ['qr'], template },
  template,
  reliefPass: 2,
  designs: honeys.map((row) => ({ ...row, subtitle: 'HONEY', net: '250 G', layout: jarLayout })),
  packages: [{ folder: 'package-1', package: 1, versions: honeys.map(({ design }) => first(design, ['01'])) }],
}
