// The gin house's designs: every spirit in the sizes that are bottled, each size in a lane of its own.
import type { DemoDesign } from '../orders.ts'
import type { Flavour } from '../pictures.ts'
import { layouts } from './layouts.ts'
import { type LabelSize, sizeOf } from './web.ts'

export const ginsJob = 'TW2611'
export const winterJob = 'TW2590'

const bottles = {
  large: { suffix: '70', net: '70 CL' },
  medium: { suffix: '35', net: '35 CL' },
  small: { suffix: '05', net: '5 CL' },
} as const

function spirit(
  size: LabelSize,
  { flavour, title, groundGray }: Pick<DemoDesign, 'flavour' | 'title' | 'groundGray'>,
): DemoDesign {
  const { suffix, net } = bottles[size]
  const design = `${title}-${suffix}`
  return { design, flavour, title, subtitle: 'DRY GIN', net, groundGray, layout: layouts[size] }
}

const damson = { flavour: 'plum', title: 'DAMSON', groundGray: 208 } as const
const elder = { flavour: 'elder', title: 'ELDER', groundGray: 234 } as const
const sizes = ['large', 'medium', 'small'] as const

/** Announced for the miniature alone; its artwork is delivered, and nobody released it. */
export const neverReleased = { job: ginsJob, design: 'QUINCE-05' } as const

export const ginDesigns: readonly DemoDesign[] = [
  ...sizes.map((size) => spirit(size, damson)),
  ...sizes.map((size) => spirit(size, elder)),
  spirit('small', { flavour: 'quince', title: 'QUINCE', groundGray: 224 }),
]

export const winterDesigns: readonly DemoDesign[] = [
  spirit('small', { flavour: 'cherry' satisfies Flavour, title: 'CHERRY', groundGray: 216 }),
]

/** The designs that the press has in turn for a cell. */
export const designsFor = (cell: number): readonly string[] =>
  ginDesigns
    .filter(({ design, layout }) => layout === layouts[sizeOf(cell)] && design !== neverReleased.design)
    .map(({ design }) => design)
