// Which of a scenario's troubles of some kinds lies on a label (or a frame): the first one named whose stretch and share take it.
import { chance } from './chance.ts'
import type { Scenario, TroubleKind, TroubleOf } from './scenario.ts'

/** Kinds that have a stretch. */
export type StretchKind = Extract<
  TroubleKind,
  'no-read' | 'garbled' | 'misread' | 'duplicate' | 'other-job' | 'laid' | 'shift' | 'repeat' | 'missed-mark'
>

const salt = 21

/** Gives the trouble on a label; cell 0 asks for that of the frame. */
export function openStretches<K extends StretchKind>(
  { troubles }: Scenario,
  seed: number,
  kinds: readonly K[],
): (place: number, cell: number) => TroubleOf<K> | undefined {
  const mine = troubles.flatMap((trouble, ordinal) =>
    (kinds as readonly TroubleKind[]).includes(trouble.kind)
      ? [{ trouble: trouble as TroubleOf<StretchKind>, ordinal }]
      : [],
  )
  const takes = ({ trouble, ordinal }: (typeof mine)[number], place: number, cell: number): boolean => {
    const { from, to = from } = trouble
    if (place < from || place > to) return false
    if ('cells' in trouble && trouble.cells && !trouble.cells.includes(cell)) return false
    return !('share' in trouble) || trouble.share === 1 || chance(seed, salt, ordinal, place, cell) < trouble.share
  }
  return (place, cell) => mine.find((one) => takes(one, place, cell))?.trouble as TroubleOf<K> | undefined
}
