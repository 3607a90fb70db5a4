// The ready-made dashboard and alert rules: every metric and every label that they name is there at /metrics.
import { readFileSync } from 'node:fs'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'

const folder = path.resolve(import.meta.dirname, '../../demo-jobs/plant')
const rules = readFileSync(path.join(folder, 'alerts.yml'), 'utf8')

interface Panel {
  readonly title: string
  readonly description: string
  readonly gridPos: { readonly x: number; readonly y: number; readonly w: number; readonly h: number }
  readonly fieldConfig: { readonly defaults: { readonly unit: string } }
  readonly targets: readonly { readonly expr: string; readonly legendFormat: string }[]
}

const { panels } = JSON.parse(readFileSync(path.join(folder, 'dashboard.json'), 'utf8')) as { panels: readonly Panel[] }
const asked = panels.flatMap(({ targets }) => targets.map(({ expr }) => expr))
const alerts = rules.split(/^ {6}- alert: /m).slice(1)
const alertExpressions = alerts.map((text) => /^ +expr: (.+)$/m.exec(text)?.[1] ?? '')

let bench: ApiBench
let text: string
beforeAll(async () => {
  bench = await openApiBench()
  text = (await bench.ask('GET', '/metrics')).text
})
afterAll(() => bench.close())

/** Without what a histogram's name gets at its end. */
function metricOf(name: string): string {
  const base = name.replace(/_(bucket|sum|count)$/, '')
  return text.includes(`# TYPE ${base} histogram`) ? base : name
}

const labelsOf = (name: string): readonly string[] => {
  const metric = bench.parts.metrics.registry.getSingleMetric(metricOf(name)) as { labelNames?: string[] } | undefined
  return [...(metric?.labelNames ?? []), 'le']
}

const namesIn = (expression: string): readonly string[] => [...new Set(expression.match(/rollcall_\w+/g) ?? [])]

describe.each([
  ['the dashboard', asked],
  ['the alert rules', alertExpressions],
])('%s', (_name, expressions) => {
  it('names only metrics that there are', () => {
    const names = expressions.flatMap(namesIn)
    expect(names.length).toBeGreaterThan(8)
    expect(names.filter((name) => !text.includes(`# TYPE ${metricOf(name)} `))).toEqual([])
  })

  it('selects and groups by labels that those metrics have', () => {
    const wrong = expressions.flatMap((expression) => {
      const known = namesIn(expression).flatMap(labelsOf)
      const grouped = [...expression.matchAll(/\bby \(([^)]*)\)/g)].flatMap(([, list]) => (list ?? '').split(/, */))
      const selected = [...expression.matchAll(/[{,](\w+)=~?"/g)].map(([, label]) => label ?? '')
      return [...grouped, ...selected]
        .filter((label) => !known.includes(label))
        .map((label) => `${label}: ${expression}`)
    })
    expect(wrong).toEqual([])
  })

  it('asks for a share of a histogram by its buckets only', () => {
    const shares = expressions.filter((expression) => expression.includes('histogram_quantile'))
    expect(shares.length).toBeGreaterThan(0)
    expect(
      shares.filter((expression) => !/by \(([^)]*\b)?le\b[^)]*\) \(rate\(rollcall_\w+_bucket/.test(expression)),
    ).toEqual([])
  })
})

describe('the dashboard', () => {
  it('says on every panel what it shows, in which unit', () => {
    for (const panel of panels) {
      expect(panel).toMatchObject({ title: expect.stringMatching(/\w/), description: expect.stringMatching(/\w/) })
      expect(panel.fieldConfig.defaults.unit).toMatch(/^(cps|cpm|s|lengthmm|percentunit|bytes|short)$/)
      expect(panel.targets.length).toBeGreaterThan(0)
    }
  })

  it('lays no panel over another', () => {
    const squares = panels.flatMap(({ gridPos: { x, y, w, h } }) =>
      Array.from({ length: w * h }, (_, i) => `${x + (i % w)},${y + Math.floor(i / w)}`),
    )
    expect(new Set(squares).size).toBe(squares.length)
    expect(Math.max(...panels.map(({ gridPos: { x, w } }) => x + w))).toBeLessThanOrEqual(24)
  })
})

describe('the alert rules', () => {
  it('say how grave each is, what happened and what to do', () => {
    expect(alerts.length).toBeGreaterThan(8)
    for (const alert of alerts) {
      expect(alert).toMatch(/labels: \{ severity: (page|warn) \}/)
      expect(alert).toMatch(/summary: ".+"/)
      expect(alert).toMatch(/action: ".+"/)
    }
    expect(alertExpressions.every((expression) => expression !== '')).toBe(true)
  })

  it('cover lateness, margin, stops, reads, readers and the disk', () => {
    const all = alertExpressions.join(' ')
    for (const name of ['late_answers', 'deadline_margin', 'stops', 'reads', 'reader_connected', 'commit_seconds'])
      expect(all).toContain(`rollcall_${name}`)
  })
})
