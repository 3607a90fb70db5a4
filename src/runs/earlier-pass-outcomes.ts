// What a run did with a label, as far as a later pass must know it, and what that comes to where several runs of one pass saw the label.

import type { FrozenVersion } from '../lines/index.ts'
import type { Identity } from './resolve.ts'

export interface PassOutcome {
  /**
   * `skipped`: nothing lies on it (skipped, stopped, revoked, reported `none`). `laid`: its layers do. `set-up`: they do, but it was
   * laid before the run proper, so it is waste. `unclear`: no one can say (reported `part` or `unknown`, or against its answer; one
   * serial on two labels).
   */
  readonly did: 'skipped' | 'laid' | 'set-up' | 'unclear'
  readonly roll: string
  readonly design: string
  /** Absent where none fitted. */
  readonly version?: number
  /** Present where the version has no layers in that pass: it was answered `lay`, and nothing was put down. */
  readonly bare?: 1
  /** Present where it was skipped as `duplicate`: its serial was laid elsewhere, on this very label or on a twin. */
  readonly twin?: 1
  /** Present where it was cut out of the web after that: no other pass will see it. */
  readonly cut?: 1
}

const keyOf = ({ did, roll, design, version, bare, twin, cut }: PassOutcome): string =>
  `${did}\n${roll}\n${design}\n${version ?? ''}\n${bare ?? ''}\n${twin ?? ''}\n${cut ?? ''}`

/** Outcomes by number, so that a serial carries one word: as many as there are rolls, designs and versions, not labels. */
export class OutcomeTable {
  readonly rows: PassOutcome[] = []
  readonly #numbers = new Map<string, number>()

  numberOf(outcome: PassOutcome): number {
    const key = keyOf(outcome)
    const known = this.#numbers.get(key)
    if (known !== undefined) return known
    this.#numbers.set(key, this.rows.length)
    return this.rows.push(outcome) - 1
  }
}

export const sameVersion = (
  a: Pick<PassOutcome, 'design' | 'version'>,
  b: Pick<PassOutcome, 'design' | 'version'>,
): boolean => a.version !== undefined && a.version === b.version && a.design === b.design

/** Whether something may lie on the label from that pass. */
export const mayLie = ({ did, bare }: PassOutcome): boolean => did !== 'skipped' && bare === undefined

const unclear = (a: PassOutcome, b: PassOutcome): PassOutcome => ({
  did: 'unclear',
  roll: b.roll,
  design: b.design,
  ...(b.version === undefined ? {} : { version: b.version }),
  ...(mayLie(a) || mayLie(b) ? {} : { bare: 1 }),
})

/**
 * What two sightings of one identity in one pass come to, where they may have been of one label: under two runs, or before and after a
 * re-threading. What was laid stays laid when another sighting of its roll is skipped, but not where that was skipped as `duplicate`, or
 * on a roll of another name: they may as well be two labels that were printed with one serial, and then nothing is certain. The order of
 * joining makes no difference to what was done.
 */
export function joined(a: PassOutcome, b: PassOutcome): PassOutcome {
  if (a.did === 'unclear' || b.did === 'unclear') return unclear(a, b)
  if (a.did === 'skipped' && b.did === 'skipped') {
    const roll = a.roll === b.roll ? b.roll : severalRolls
    const { cut, ...rest } = b
    return { ...rest, roll, ...(a.twin || b.twin ? { twin: 1 } : {}), ...(a.cut && cut ? { cut } : {}) }
  }
  if (a.roll !== b.roll || a.twin || b.twin) return unclear(a, b)
  if (a.did === 'skipped') return b
  if (b.did === 'skipped') return a
  if (a.did !== b.did || !sameVersion(a, b)) return unclear(a, b)
  // Gone only where both sightings say so.
  return b.cut ? a : b
}

/** In place of a roll's name, which is never empty. */
const severalRolls = ''

/** A label that is about to be laid. */
export interface LabelNow {
  readonly pass: number
  readonly identity: Identity
  readonly version: Pick<FrozenVersion, 'design' | 'version' | 'earlierPasses'>
  /** Where one code stands for several cells. */
  readonly cell: number | undefined
  /** Labels of the set-up may be used for the next set-up. */
  readonly proving: boolean
}
