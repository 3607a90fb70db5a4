// Which acts take two people.

/** Acts that may be asked to take a second person. `override`: opening a run, or changing its ticket, in spite of blockers. */
export const twoPersonActs = ['release', 'withdraw', 'override', 'prove', 'clear', 'seal', 'abort'] as const
export type TwoPersonAct = (typeof twoPersonActs)[number]

/** Those of them that belong to a run, and so to a ticket that may be regulated. */
export const runActs = ['override', 'prove', 'clear', 'seal', 'abort'] as const

export interface PeoplePolicy {
  /** These always take two people. */
  readonly twoPersons: readonly TwoPersonAct[]
  /** These do on runs of regulated tickets. */
  readonly twoPersonsRegulated: readonly (typeof runActs)[number][]
}
