// The roll record as a page: complete, self-contained, and harmless whatever it has to show.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench } from '../../tests/fixtures/runs.ts'
import { sha256Hex } from '../kernel/bytes.ts'
import { type RunReport, reportRun } from './report.ts'
import { reportHtml } from './report-html.ts'
import { stripHtml } from './report-strip.ts'

let bench: Bench | undefined
afterEach(async () => {
  await bench?.close()
  bench = undefined
})

const hostile = `<img src=x onerror=alert(1)>"'&<script>alert(2)</script>`

async function eventfulRun() {
  bench = await openBench()
  bench.conditions.set(sha256Hex('B/1/varnish'), 'damaged')
  const run = await bench.open({ override: true })
  await run.startProving({ by: 'lead' })
  await run.frames([event(0, [code('A', 900_001), code('A', 900_002)])])
  await run.prove({ by: 'lead', lanes: [1, 2], why: 'both good' })
  await run.frames([event(1, [code('A', 1), code('B', 2)])])
  const [open] = run.state.causes.opened()
  await run.clear({ by: 'lead', why: 'looked', cause: open!.cause, after: 'skip-rest' })
  await run.laid([{ frame: 1, cell: 1, laid: 'full' }])
  await run.material({ event: 'foil', station: 'foil', foil: 'silver', by: 'lead' })
  await run.material({ event: 'splice', positionUm: 61_500, frames: 3, note: 'joint' })
  await run.frames([event(2, [code('A', 3), code('N', 4)])])
  return { run, report: await reportRun(bench.database, run) }
}

describe('the roll record as a page', () => {
  it('shows who, what, which versions, every stop, the material and the proof', async () => {
    const { run, report } = await eventfulRun()
    const page = reportHtml(report)
    for (const part of [
      `Roll record ${run.runId}`,
      'Roll R1, ticket T1, line L1, pass 1',
      'J (job J)',
      report.root,
      `Ledger of ${report.treeSize} entries`,
      `rollcall verify ${run.runId}`,
      'Opened in spite of blockers',
      'J / B / 1 / varnish',
      `varnish ${sha256Hex('A/2/varnish')}`,
      'damaged-layer / J / B / 02',
      'cleared damaged-layer: skip-rest',
      'both good',
      'foil: silver',
      'joint',
      '61.5',
    ]) {
      expect(page).toContain(part)
    }
    expect(page).not.toContain('regulated')
  })

  it('marks events of the material that were voided', async () => {
    const { run } = await eventfulRun()
    const splice = run.state.material.find(({ body }) => body.event === 'splice')?.index ?? 0
    expect(reportHtml(await reportRun(bench!.database, run))).not.toContain('(void)')
    await run.material({ event: 'void', voids: splice, by: 'lead' })
    const page = reportHtml(await reportRun(bench!.database, run))
    expect(page).toContain('(void) joint')
    expect(page.split('(void)')).toHaveLength(2)
  })

  it('counts labels laid in set-up and in the run proper by version', async () => {
    const { report } = await eventfulRun()
    expect(report.versions).toEqual([
      expect.objectContaining({ job: 'J', design: 'A', version: 2, labels: 2, setup: 2, revoked: 0 }),
    ])
    expect(report).toMatchObject({ frames: 3, labels: 6, lay: 4, skip: 0, stop: 2, setup: 2, laid: { full: 1 } })
  })

  it('names the stops with what became of them', async () => {
    const { report } = await eventfulRun()
    expect(report.stops).toMatchObject([
      { frame: 1, cell: 2, flag: 'damaged-layer', clearedBy: 'lead', clearedWhy: 'looked', after: 'skip-rest' },
      { frame: 2, cell: 2, flag: 'not-released' },
    ])
    expect(report.stops[1]).not.toHaveProperty('clearedBy')
    expect(reportHtml(report)).toContain('<td class="name">open</td>')
  })

  it('says of a regulated roll that it releases nothing', async () => {
    const { report } = await eventfulRun()
    expect(reportHtml({ ...report, regulated: true })).toContain('a named person releases it')
  })

  it('escapes every text that came from outside', async () => {
    const { report } = await eventfulRun()
    const page = reportHtml(hostileReport(report))
    expect(page).not.toMatch(/<img|<script/)
    expect(page.split('&lt;img src=x onerror=alert(1)&gt;&quot;&#39;&amp;&lt;script&gt;').length).toBeGreaterThan(20)
  })

  it('loads nothing and runs nothing', async () => {
    const { report } = await eventfulRun()
    const page = reportHtml(report)
    expect(page).not.toMatch(/\b(src|href)\s*=|url\(|@import|<script|https?:/)
  })

  it('has its tags in balance', async () => {
    const { report } = await eventfulRun()
    const open: string[] = []
    for (const [, close, name] of reportHtml(report).matchAll(/<(\/?)([a-z][a-z0-9]*)[^>]*>/g)) {
      if (['meta', 'br'].includes(name!)) continue
      if (close) expect(open.pop()).toBe(name)
      else open.push(name!)
    }
    expect(open).toEqual([])
  })
})

/** Every text of a report replaced by one that means harm; what the page reads as a word or as JSON is left. */
function hostileReport(report: RunReport): RunReport {
  const blocker = { code: hostile, message: hostile, job: hostile, design: hostile, layer: hostile }
  const poisoned = JSON.parse(
    JSON.stringify(report, (key, value) => (typeof value === 'string' && key !== 'cells' ? hostile : value)),
  ) as RunReport
  return { ...poisoned, override: JSON.stringify([blocker]) }
}

describe('the strip', () => {
  const cells = [
    { cell: 3, lane: 1 },
    { cell: 7, lane: 2 },
  ]
  const strip = (letters: readonly string[]) =>
    letters.map((all, frame) => ({ frame, positionMm: frame * 60, cells: all }))
  const titles = (html: string) => [...html.matchAll(/<title>(.*?)<\/title>/g)].map(([, title]) => title)

  it('has a mark for each label, by its cell', () => {
    expect(titles(stripHtml({ strip: strip(['us', 'lx']), cells }))).toEqual([
      'frame 0, cell 3: set-up',
      'frame 0, cell 7: skip',
      'frame 1, cell 3: lay',
      'frame 1, cell 7: stop',
    ])
  })

  it('leaves out labels without an answer', () => {
    expect(titles(stripHtml({ strip: strip(['l', '']), cells }))).toEqual(['frame 0, cell 3: lay'])
  })

  it('shows the strictest of the frames that share a column on a long roll', () => {
    const long = Array.from({ length: 1_200 }, () => 'll')
    long[1_001] = 'ls'
    long[3] = 'xr'
    const html = stripHtml({ strip: strip(long), cells })
    expect(html).toContain('Each column stands for 2 frames')
    expect(titles(html)).toHaveLength(1_200)
    expect(titles(html)).toContain('frames 1000 to 1001, cell 7: skip')
    expect(titles(html)).toContain('frames 2 to 3, cell 3: stop')
    expect(titles(html)).toContain('frames 2 to 3, cell 7: revoked')
  })

  it('says so when there is no frame', () => {
    expect(stripHtml({ strip: [], cells })).toBe('<p>No frame was recorded.</p>')
  })
})
