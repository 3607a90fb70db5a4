// What a fuzz target is: where hostile input comes from, what is done with it, and what must hold whatever comes.
import type fc from 'fast-check'

/** Bounds of one case and of one round. They are far above what sound input needs: what exceeds them hangs or hoards. */
export interface Bounds {
  /** CPU time of one case, all threads of the process, ms. A case that is not back after `hangFactor` times that is killed as a hang. */
  readonly caseCpuMsMax: number
  /** Growth of the process's peak resident memory over a round, MiB. */
  readonly growthMiBMax: number
}

/** A busy machine may take this many times as long; what takes longer still does not come back. */
export const hangFactor = 15

/** A target made ready in the executing process: fixtures read, databases open, decoders loaded. */
export interface Stage<Case> {
  /**
   * Feeds one case to the product and returns how it was answered: `taken`, or the code of the refusal. Throws where something does not
   * hold: any exception that is no `Problem`, and any `Broken`.
   */
  run(one: Case): Promise<string>
  close(): Promise<void>
}

export interface Target<Case = unknown> {
  readonly name: string
  /** The module that exports it: the executing process loads that one alone. */
  readonly module: string
  /** What comes from outside here, and what must hold beyond a coded answer. */
  readonly about: string
  readonly bounds: Bounds
  /** Cases of a round in `npm test`, and in a round of the long run. */
  readonly cases: { readonly short: number; readonly long: number }
  /** Plain data, so that it can be sent to another process. */
  readonly arbitrary: fc.Arbitrary<Case>
  /** Answers that a round of the short length must meet: a generator that never gets past the first door tests that door only. */
  readonly meets: readonly string[]
  open(): Promise<Stage<Case>>
}

export const defineTarget = <Case>(target: Target<Case>): Target => target as unknown as Target
