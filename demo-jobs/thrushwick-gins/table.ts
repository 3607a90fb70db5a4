// The tables that come with the gin house's packages: what every code of a campaign stands for, as the press's data system wrote it.
import { cutAndStack, drawRoll } from '../roll.ts'
import { ginDesigns, ginsJob, neverReleased, winterDesigns } from './designs.ts'
import { ginCodes, plan, serialText, winterCodes } from './plan.ts'

interface TableRow {
  readonly code: string
  readonly design: string
  readonly print: string
  readonly serial: string
}

const csvOf = (rows: readonly TableRow[]): string =>
  ['code,design,print,serial', ...rows.map((row) => Object.values(row).join(','))].join('\n').concat('\n')

const rowOf = (code: string, index: number, { design, print }: { design: string; print: string }): TableRow => ({
  code,
  design,
  print,
  serial: serialText(index + 1),
})

/** Designs in blocks, for labels of rolls that are still to be printed. */
const later = (designs: readonly string[], length: number): readonly string[] =>
  cutAndStack({ stacks: [designs], length, seed: 7 })[0] ?? []

/** Every serial number once, in order; on this roll's labels it says what was printed. */
export function ginTable(): string {
  const onRoll = new Map(
    drawRoll(plan)
      .flatMap(({ labels }) => labels)
      .filter(({ job, plant }) => job === ginsJob && plant !== 'duplicate')
      .map(({ serial, design, print }) => [serial, { design, print }]),
  )
  const mixed = ginDesigns.map(({ design }) => design).filter((design) => design !== neverReleased.design)
  const rest = later(mixed, ginCodes.length)
  return csvOf(
    ginCodes.map((code, index) =>
      rowOf(code, index, onRoll.get(serialText(index + 1)) ?? { design: rest[index] ?? '', print: '01' }),
    ),
  )
}

export const winterTable = (): string =>
  csvOf(winterCodes.map((code, index) => rowOf(code, index, { design: winterDesigns[0]?.design ?? '', print: '01' })))
