// What the sensor says of a place: the codes that stand there, less what goes wrong with reading them.
import type { FrameEvent } from '../../protocol/index.ts'
import type { CodeSpot, CodeSpots } from './code-spots.ts'
import type { Material } from './material.ts'
import type { Scenario } from './scenario.ts'
import { openStretches } from './stretches.ts'
import type { Truth } from './truth.ts'

export type Read = FrameEvent['reads'][number]

export interface Reading {
  readsAt(place: number): Read[]
  /** Whether something is planted on the label, so that no right answer to it can be expected. */
  isPlanted(place: number, cell: number): boolean
}

export interface ReadingParts {
  readonly scenario: Scenario
  readonly seed: number
  readonly truth: Truth
  readonly material: Material
  readonly spots: CodeSpots
}

const quality = 0.9

/** Opens the sensor over a web. */
export function openReading({ scenario, seed, truth, material, spots }: ReadingParts): Reading {
  const troubleAt = openStretches(scenario, seed, ['no-read', 'garbled', 'misread'])
  const shiftAt = openStretches(scenario, seed, ['shift'])
  const strangeAt = openStretches(scenario, seed, ['duplicate', 'other-job'])
  const nothing = (of: object): Read => ({ ...of, text: null })
  const readAt = (place: number, { cell, of }: CodeSpot): Read => {
    const trouble = troubleAt(place, cell)
    if (trouble?.kind === 'no-read') return nothing(of)
    const seen = place - (shiftAt(place, 0)?.frames ?? 0)
    const code =
      trouble?.kind === 'misread' ? truth.mistaken(material.printedAt(seen), cell) : material.labelAt(seen, cell)
    if (!code || seen < 0) return nothing(of)
    const text = trouble?.kind === 'garbled' ? `?${code.text.slice(1)}` : code.text
    return { ...of, text, symbology: code.symbology, quality }
  }
  return {
    readsAt: (place) => spots.all.map((spot) => readAt(place, spot)),
    isPlanted(place, cell) {
      const spot = spots.firstOf(cell)
      return (troubleAt(place, spot) ?? shiftAt(place, 0) ?? strangeAt(place, spot)) !== undefined
    },
  }
}
