// Gins, job 2 of the demo: a table that explains every code, three sizes of labels, and labels that lie or stand on their heads.
import { parse } from 'csv-parse/sync'
import { describe, expect, it } from 'vitest'
import { designNamed } from '../../demo-jobs/orders.ts'
import { ginsScenario } from '../../demo-jobs/scenarios.ts'
import { gins, winter } from '../../demo-jobs/thrushwick-gins/orders.ts'
import { ginTable, winterTable } from '../../demo-jobs/thrushwick-gins/table.ts'
import { inFrame } from '../../demo-jobs/web.ts'

interface Row {
  readonly code: string
  readonly design: string
  readonly print: string
  readonly serial: string
}

const rowsOf = (csv: string): readonly Row[] => parse(csv, { columns: true })
const tables = new Map([
  [gins.job, rowsOf(ginTable())],
  [winter.job, rowsOf(winterTable())],
])
const every = [...tables.values()].flat()
const labels = ginsScenario.roll.flatMap((frame) => frame.labels)
const isUnknown = (plant: string | undefined): boolean => plant === 'not-in-table' || plant === 'one-character-off'

describe('the gins’ tables', () => {
  it('hold 4,800 and 60 codes of 24 characters, none of them twice', () => {
    expect([...tables.values()].map((rows) => rows.length)).toEqual([4_800, 60])
    expect(new Set(every.map(({ code }) => code)).size).toBe(4_860)
    for (const { code } of every) expect(code).toMatch(/^[2-9A-HJ-NP-Z]{24}$/)
  })

  it('give each serial once, and only to designs that the job has', () => {
    for (const job of [gins, winter]) {
      const rows = tables.get(job.job)!
      const names = job.designs.map(({ design }) => design)
      expect(new Set(rows.map(({ serial }) => serial)).size).toBe(rows.length)
      for (const { design } of rows) expect(names).toContain(design)
    }
  })

  it('explain every code on the roll as it was printed, those aside that are planted as unknown', () => {
    for (const { job, design, print, serial, text, plant } of labels) {
      const row = tables.get(job)!.find(({ code }) => code === text)
      if (isUnknown(plant)) expect(row).toBeUndefined()
      else if (job === gins.job) expect(row).toEqual({ code: text, design, print, serial })
      else expect(row).toMatchObject({ design, print })
    }
  })

  it('have codes for every design and print version that a package delivers', () => {
    for (const job of [gins, winter]) {
      const known = new Set(tables.get(job.job)!.map(({ design, print }) => `${design} ${print}`))
      const delivered = job.packages.flatMap(({ versions }) => versions)
      for (const { design, printVersions } of delivered) {
        for (const print of printVersions) expect(known).toContain(`${design} ${print}`)
      }
    }
  })

  it('miss a planted code by one character, or by nearly all of them', () => {
    const distance = (a: string, b: string): number => [...a].filter((letter, at) => letter !== b[at]).length
    for (const { text, plant } of labels.filter((label) => isUnknown(label.plant))) {
      const nearest = Math.min(...every.map(({ code }) => distance(code, text)))
      if (plant === 'one-character-off') expect(nearest).toBe(1)
      else expect(nearest).toBeGreaterThan(10)
    }
  })
})

describe('the gins’ web', () => {
  const { cells } = gins.frame

  it('has three lanes of two rows, some labels turned by a quarter and one by half a turn', () => {
    expect(cells.map(({ lane, row }) => `${lane}.${row}`)).toEqual(['1.1', '2.1', '3.1', '1.2', '2.2', '3.2'])
    expect(cells.map(({ rotateDeg }) => rotateDeg)).toEqual([0, 90, 0, 0, 90, 180])
  })

  it('carries in each cell only designs of the cell’s size', () => {
    const sizes = new Set<string>()
    for (const { job, design, cell } of labels) {
      const { layout } = designNamed(job === gins.job ? gins : winter, design)
      const place = cells[cell - 1]!
      const { widthMm, heightMm } = inFrame(place, { leftMm: 0, topMm: 0, ...layout })
      expect({ widthMm, heightMm }).toEqual({ widthMm: place.widthMm, heightMm: place.heightMm })
      sizes.add(`${layout.widthMm} × ${layout.heightMm}`)
    }
    expect([...sizes].sort()).toEqual(['30 × 40', '44 × 36', '66 × 44'])
  })
})
