// The kinds of trouble that are planted in the demo's rolls, and how a roll's plants are written down: as data, no label with two.

/** Every kind, in the order in which it is told. */
export const plantKinds = [
  'faint',
  'worn',
  'smudged',
  'glared',
  'wet-smear',
  'second-look',
  'garbled-code',
  'not-in-table',
  'one-character-off',
  'wrong-check-digit',
  'missing-key',
  'earlier-print',
  'unfit-print',
  'other-job',
  'never-released',
  'damaged-layer',
  'withdrawn-version',
  'duplicate',
  'backed-up',
] as const
export type PlantKind = (typeof plantKinds)[number]

/** Labels of frames `first` to `last`, both included, in these cells. */
export interface Plant {
  readonly kind: PlantKind
  readonly first: number
  readonly last: number
  readonly cells: readonly number[]
  /** What stands there instead of what the press had in turn. */
  readonly job?: string
  readonly design?: string
  readonly print?: string
}

export const at = (kind: PlantKind, frame: number, cell: number): Plant => ({
  kind,
  first: frame,
  last: frame,
  cells: [cell],
})

export const stretch = (
  kind: PlantKind,
  span: { first: number; last: number },
  rest: Omit<Plant, 'kind' | 'first' | 'last'>,
): Plant => ({
  kind,
  ...span,
  ...rest,
})

/** Looks up the trouble planted on a label. Throws where a label has two. */
export function openPlants(plants: readonly Plant[]): (frame: number, cell: number) => Plant | undefined {
  const byLabel = new Map<string, Plant>()
  for (const plant of plants) {
    for (let frame = plant.first; frame <= plant.last; frame++) {
      for (const cell of plant.cells) {
        if (byLabel.has(`${frame}/${cell}`))
          throw new Error(`invariant broken: frame ${frame} cell ${cell} has one trouble`)
        byLabel.set(`${frame}/${cell}`, plant)
      }
    }
  }
  return (frame, cell) => byLabel.get(`${frame}/${cell}`)
}
