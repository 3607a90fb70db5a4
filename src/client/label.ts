// One label as the client knows it, and what would be done with it now.
import type { Answer } from '../protocol/index.ts'

/** Why a label is skipped. */
export type SkipReason =
  /** Nothing was received before its point of no return, or nothing at all. */
  | 'no-answer'
  /** The answer itself says skip or stop. */
  | 'answered'
  | 'revoked'
  /** The answer was not here, or the position not known, before the point of no return. */
  | 'late'
  /** The position came from so far before the point of no return to so far behind it that the label may be past the head. */
  | 'overrun'
  /** Its answer no longer says for certain what lies there: see `LineClient`. */
  | 'doubted'

/** A label at its point of no return. */
export interface DueLabel {
  readonly frame: number
  readonly cell: number
  /** The answer to lay by, or skip. */
  readonly decision: Answer | 'skip'
  readonly because?: SkipReason
  readonly noReturnMm: number
  /** The encoder when it was settled; what lies between is the step in which positions are told. */
  readonly positionMm: number
}

export interface Label {
  readonly frame: number
  readonly cell: number
  noReturnMm: number
  /** Its frame was sent by this client, which so watches over its deadline. */
  expected: boolean
  answer?: Answer
  revoked: boolean
  doubted: boolean
  settled?: 'lay' | SkipReason
}

/** Why a label would be skipped that has not passed its point of no return. */
export function skipReason({ answer, revoked, doubted }: Label): SkipReason | undefined {
  if (revoked) return 'revoked'
  if (!answer) return 'no-answer'
  if (answer.decision !== 'lay') return 'answered'
  return doubted ? 'doubted' : undefined
}
