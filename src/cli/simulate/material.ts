// The web of a simulated roll: for each place the printed frame that lies there and where its mark is, and what stands on its labels.
import { chance } from './chance.ts'
import type { CodeSpots } from './code-spots.ts'
import type { Scenario, TroubleOf } from './scenario.ts'
import { openStretches } from './stretches.ts'
import type { TrueLabel, Truth } from './truth.ts'

export interface Material {
  /** Places of the roll. */
  readonly frames: number
  /** Where the eye mark of a place is, mm, to the µm. */
  markMm(place: number): number
  /** Undefined behind the end of a sequence. */
  labelAt(place: number, cell: number): TrueLabel | undefined
  printedAt(place: number): number
  spliceAt(place: number): TroubleOf<'splice'> | undefined
}

export interface MaterialParts {
  readonly scenario: Scenario
  readonly seed: number
  readonly truth: Truth
  readonly pitchMm: number
  readonly spots: CodeSpots
}

const salts = { noise: 11 } as const

const toUm = (mm: number): number => Math.round(mm * 1_000) / 1_000

/** Lays the truth out along a web with its splices; doubled codes and labels of other jobs are printed on it. */
export function openMaterial({ scenario, seed, truth, pitchMm, spots }: MaterialParts): Material {
  const { roll, troubles } = scenario
  const splices = troubles
    .filter((trouble): trouble is TroubleOf<'splice'> => trouble.kind === 'splice')
    .toSorted((a, b) => a.at - b.at)
  const strange = openStretches(scenario, seed, ['duplicate', 'other-job'])
  const before = (place: number): readonly TroubleOf<'splice'>[] => splices.filter(({ at }) => at <= place)
  const printedAt = (place: number): number =>
    before(place).reduce((sum, { framesCutOut }) => sum + framesCutOut, place)
  return {
    frames: roll.frames,
    printedAt,
    markMm(place) {
      const phaseMm = before(place).reduce((sum, splice) => sum + splice.phaseMm, 0)
      const noiseMm = (chance(seed, salts.noise, place) - 0.5) * 2 * (roll.noiseUm / 1_000)
      return toUm(roll.firstPositionMm + place * pitchMm + phaseMm + noiseMm)
    },
    labelAt(place, cell) {
      const trouble = strange(place, spots.firstOf(cell))
      if (trouble?.kind === 'other-job') return truth.foreign(trouble.job, printedAt(place), cell)
      const back = trouble?.kind === 'duplicate' ? Math.min(trouble.back, place) : 0
      return truth.labelAt(printedAt(place - back), cell)
    },
    spliceAt: (place) => splices.find(({ at }) => at === place),
  }
}
