// The roll record as one HTML page that needs nothing else: numbers, the roll as a strip, versions, stops, people, the proof.
import type { ReadinessRow } from '../lines/index.ts'
import { type Column, esc, tableHtml } from './html.ts'
import { labelsText } from './recall-list.ts'
import type { RunReport } from './report.ts'
import { stripHtml } from './report-strip.ts'
import { toMm } from './wire.ts'

const time = (ms: number): string => new Date(ms).toISOString().replace('T', ' ').slice(0, 19)

const style = `body{font:15px/1.45 system-ui,sans-serif;max-width:1120px;margin:2rem auto;padding:0 1rem;color:#1d2327}
h1{font-size:1.5rem;margin:0}h2{font-size:1.1rem;margin:1.8rem 0 .5rem}table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.25rem .6rem;border-bottom:1px solid #d8dcdf;vertical-align:top}
th{font-weight:600;background:#f3f4f5}.name,.time{white-space:nowrap;width:1%}.text{overflow-wrap:anywhere}
.number{text-align:right;white-space:nowrap;font-feature-settings:"tnum";width:1%}
td.digest,code{font:11px/1.6 ui-monospace,monospace;overflow-wrap:anywhere}
.pictures{display:flex;flex-wrap:wrap;gap:.6rem}.pictures img{width:9rem;height:auto;display:block}figure{margin:0;width:9rem;font-size:11px}
td,h1,figcaption,b,bdi{unicode-bidi:isolate}
svg{width:100%;height:auto;display:block}svg text{font-size:11px;fill:#4a5359}.key span{margin-right:1rem}
.key i{display:inline-block;width:.8em;height:.8em;margin-right:.3em}
.numbers{display:flex;flex-wrap:wrap;gap:.5rem 2rem;margin:1rem 0}.numbers b{display:block;font-size:1.4rem}
.note{background:#f3f4f5;padding:.6rem .8rem}.note table{margin-top:.4rem}
@media print{body{margin:0;max-width:none}tr{break-inside:avoid}h2{break-after:avoid}}`

function numbers(report: RunReport): string {
  const all: [string, number][] = [
    ['frames', report.frames],
    ['labels', report.labels],
    ['lay', report.lay],
    ['skip', report.skip],
    ['stop', report.stop],
    ['of these set-up', report.setup],
    ['revoked', report.revoked],
  ]
  return `<div class="numbers">${all.map(([word, count]) => `<div><b>${count}</b>${word}</div>`).join('')}</div>`
}

function flagTable({ flags }: RunReport): string {
  const columns: Column[] = [
    ['flag', 'name'],
    ['labels', 'number'],
    ['first seen at', 'text'],
  ]
  const rows = flags.map(({ flag, labels, example }) => [
    flag,
    labels,
    `frame ${example.frame}, cell ${example.cell} (entry ${example.index})`,
  ])
  return tableHtml(columns, rows, 'No label was flagged.')
}

function versionTable({ versions }: RunReport): string {
  const columns: Column[] = [
    ['job', 'name'],
    ['design', 'name'],
    ['version', 'number'],
    ['answered lay', 'number'],
    ['set-up', 'number'],
    ['revoked', 'number'],
    ['layers, SHA-256', 'digest'],
  ]
  const rows = versions.map((use) => [
    use.job,
    use.design,
    use.version,
    use.labels,
    use.setup,
    use.revoked,
    Object.entries(use.layers).map(([layer, digest]) => `${layer} ${digest}`),
  ])
  return tableHtml(columns, rows, 'Nothing was laid.')
}

function stopTable({ stops }: RunReport): string {
  const columns: Column[] = [
    ['where', 'name'],
    ['cause', 'text'],
    ['cleared by', 'name'],
    ['why', 'text'],
    ['after', 'name'],
  ]
  const rows = stops.map((stop) => [
    stop.frame === undefined ? 'a recall' : `frame ${stop.frame}, cell ${stop.cell}`,
    [stop.flag, stop.job, stop.design, stop.print].filter(Boolean).join(' / '),
    stop.clearedBy ?? 'open',
    stop.clearedWhy ?? '',
    stop.after ?? '',
  ])
  return tableHtml(columns, rows, 'The web was never asked to stop.')
}

function recallTable({ recalls }: RunReport): string {
  const columns: Column[] = [
    ['version', 'name'],
    ['withdrawn by', 'name'],
    ['why', 'text'],
    ['revoked', 'number'],
    ['too late', 'number'],
    ['of these, newest first (frame/cell, reported)', 'text'],
  ]
  const rows = recalls.map((row) => [
    `${row.job} ${row.design} v${row.version}`,
    row.by,
    row.why ?? '',
    row.revoked.labels,
    row.passed.labels,
    labelsText(row.passed),
  ])
  return rows.length > 0 ? `<h2>Recalls</h2>${tableHtml(columns, rows, '')}` : ''
}

function actTable({ acts }: RunReport): string {
  const columns: Column[] = [
    ['time (UTC)', 'time'],
    ['what', 'text'],
    ['who', 'name'],
    ['why', 'text'],
    ['entry', 'number'],
  ]
  const rows = acts.map((act) => [
    time(act.atMs),
    act.what,
    act.second === undefined ? act.by : `${act.by} with ${act.second}`,
    act.why ?? '',
    act.index,
  ])
  return tableHtml(columns, rows, 'Nobody did anything.')
}

function whatOf(row: RunReport['material'][number]): string {
  const lanes = row.laneRolls?.map(({ roll, lanes }) => `${roll} (lanes ${lanes.join(', ')})`)
  return [
    row.roll && `roll ${row.roll}`,
    lanes && `into ${lanes.join(', ')}`,
    row.toPositionUm !== undefined && `to ${toMm(row.toPositionUm)} mm`,
    row.station && `${row.station}: ${row.foil ?? 'no foil'}`,
    row.voids !== undefined && `entry ${row.voids} was recorded wrongly`,
    row.note,
  ]
    .filter(Boolean)
    .join('; ')
}

function materialTable({ material }: RunReport): string {
  const columns: Column[] = [
    ['event', 'name'],
    ['position mm', 'number'],
    ['frames missing', 'number'],
    ['what', 'text'],
    ['by', 'name'],
    ['entry', 'number'],
  ]
  const voided = new Set(material.map(({ voids }) => voids))
  const rows = material.map((row) => [
    row.event,
    row.positionUm === undefined ? '' : toMm(row.positionUm),
    row.frames ?? '',
    voided.has(row.index) ? `(void) ${whatOf(row)}` : whatOf(row),
    row.by ?? '',
    row.index,
  ])
  return tableHtml(columns, rows, 'No events were recorded.')
}

function laidTable({ laid }: RunReport): string {
  const columns: Column[] = [
    ['laid', 'name'],
    ['labels', 'number'],
    ['', 'text'],
  ]
  const rows = Object.entries(laid).map(([word, labels]) => [word, labels, ''])
  return tableHtml(columns, rows, 'Nothing was reported.')
}

// What a named person opened the run in spite of, as the ledger holds it.
function overrideNote(override: string): string {
  const blockers = JSON.parse(override) as readonly ReadinessRow[]
  const columns: Column[] = [
    ['code', 'name'],
    ['what', 'text'],
    ['why', 'text'],
  ]
  const rows = blockers.map(({ code, message, job, design, version, layer }) => [
    code,
    [job, design, version, layer].filter((part) => part !== undefined).join(' / '),
    message,
  ])
  return `<div class="note">Opened in spite of blockers:${tableHtml(columns, rows, 'none')}</div>`
}

function tables(report: RunReport): string {
  return `<h2>Flags</h2>${flagTable(report)}
<h2>Versions</h2>${versionTable(report)}
<h2>Stops</h2>${stopTable(report)}
${recallTable(report)}
<h2>What the controller reported</h2>${laidTable(report)}
<h2>Who did what</h2>${actTable(report)}
<h2>The material</h2>${materialTable(report)}`
}

/** One self-contained HTML page; everything from outside is escaped. `more` is HTML of further sections. */
export function reportHtml(report: RunReport, more = ''): string {
  const title = `Roll record ${report.runId}`
  const regulated = report.regulated
    ? '<p class="note">This roll is regulated: a named person releases it. The record shows evidence; it releases nothing.</p>'
    : ''
  const jobs = report.jobs.map((job) => `${job.job} (${job.title})`).join(', ')
  return `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>${esc(title)}</title>
<meta name="viewport" content="width=device-width"><style>${style}</style></head><body>
<h1>${esc(title)}</h1>
<p>Roll ${esc(report.roll)}, ticket ${esc(report.ticket)}, line ${esc(report.line)}, pass ${report.pass};
<bdi>${esc(jobs)}</bdi>. State: <b>${esc(report.state)}</b>.
${time(report.openedAtMs)} to ${time(report.lastAtMs)} UTC.</p>
${regulated}${report.override ? overrideNote(report.override) : ''}${numbers(report)}
${stripHtml(report)}
${tables(report)}
${more}
<h2>Proof</h2><p>Ledger of ${report.treeSize} entries, Merkle root <code>${esc(report.root)}</code> (RFC 9162, SHA-256).
Recompute it with <code>rollcall verify ${esc(report.runId)}</code>.</p>
</body></html>
`
}
