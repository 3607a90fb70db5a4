// The troubles planted in the yoghurts' roll. One code stands for a frame, so each trouble is that of four labels at once, and a frame
// whose code is unknown asks for a stop with its third label (`unknown-code`, 3 in 20).
import { type Plant, type PlantKind, stretch } from '../plants.ts'
import { teas } from '../quillgarth-preserves/orders.ts'
import { items, neverReleased } from './orders.ts'

const everyCell = [1, 2, 3, 4] as const

export const setupFrames = 3

export const backUp = { afterFrame: 43, pitches: 3 } as const

export const repeat = { frame: 37, of: 25, cells: everyCell } as const

const badCheckDigit = 13
export const escalates = { frame: badCheckDigit, cell: 3 } as const

const frames = (
  kind: PlantKind,
  span: { first: number; last: number },
  rest: Pick<Plant, 'job' | 'design' | 'print'> = {},
): Plant => stretch(kind, span, { cells: everyCell, ...rest })
const frame = (kind: PlantKind, number: number, rest?: Pick<Plant, 'job' | 'design' | 'print'>): Plant =>
  frames(kind, { first: number, last: number }, rest)

export const plants: readonly Plant[] = [
  frame('faint', 1),
  frame('faint', 7),
  frame('smudged', 10),
  frame('smudged', 39),
  frame('glared', 17),
  frame('glared', 30),
  frame('wrong-check-digit', badCheckDigit),
  frame('missing-key', 28),
  frame('other-job', 20, { job: teas.job, design: 'MINT-EN', print: '01' }),
  frames('unfit-print', { first: 22, last: 23 }, { design: items.plum, print: '03' }),
  frames('earlier-print', { first: 32, last: 33 }, { design: items.cherry, print: '01' }),
  frames('never-released', { first: 34, last: 35 }, { design: neverReleased.design }),
  frame('duplicate', repeat.frame),
  frames('backed-up', { first: backUp.afterFrame + 1, last: backUp.afterFrame + backUp.pitches }),
]
