// Differences between truth and ledger: all counted, the first of each kind kept with their place.

export const differenceKinds = {
  'wrong-lay': 'a layer that is not the label’s own was laid',
  'double-lay': 'a label was laid twice',
  'wrong-code': 'the answer names another code than the label’s',
  'missed-lay': 'a label that could be laid was not',
  'lost-answer': 'an answer is missing',
  'doubled-answer': 'a label has two answers, or another one than was received',
  'laid-though-revoked': 'it was laid although the ledger revoked it before',
} as const
export type DifferenceKind = keyof typeof differenceKinds

export interface Difference {
  readonly kind: DifferenceKind
  readonly frame?: number
  readonly cell: number
  /** Of the label on the roll, counted from 0. */
  readonly place: number
  readonly positionMm: number
  readonly detail: string
}

export interface Differences {
  add(difference: Difference): void
  readonly counts: Readonly<Record<DifferenceKind, number>>
  /** In order of place. */
  list(): readonly Difference[]
}

/** Of each kind; what goes beyond is counted. */
export const keptMax = 200

export function openDifferences(): Differences {
  const kept: Difference[] = []
  const counts = Object.fromEntries(Object.keys(differenceKinds).map((kind) => [kind, 0])) as Record<
    DifferenceKind,
    number
  >
  return {
    add(difference) {
      counts[difference.kind] += 1
      if (counts[difference.kind] <= keptMax) kept.push(difference)
    },
    counts,
    list: () => kept.toSorted((a, b) => a.place - b.place || a.cell - b.cell),
  }
}
