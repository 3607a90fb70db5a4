// The roll record as one HTML page that needs nothing else: numbers, the roll as a strip, versions, stops, people, the proof.
import type { RunReport, StripColumn } from './report.ts'

const escapes: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
}
const esc = (value: unknown): string => String(value ?? '').replaceAll(/[&<>"']/g, (char) => escapes[char] ?? char)

const time = (ms: number): string => new Date(ms).toISOString().replace('T', ' ').slice(0, 19)

const tones: Readonly<Record<string, { readonly fill: string; readonly word: string }>> = {
  l: { fill: '#3f7d58', word: 'lay' },
  u: { fill: '#8fb8a0', word: 'set-up' },
  s: { fill: '#e3b23c', word: 'skip' },
  r: { fill: '#c9792b', word: 'revoked' },
  x: { fill: '#b3261e', word: 'stop' },
}
// The strictest of a column's letters shows.
const rank = 'xrsul'
const worst = (letters: string): string => [...rank].find((letter) => letters.includes(letter)) ?? ' '

const columnsMax = 600

function stripSvg(strip: readonly StripColumn[]): string {
  const lanes = Math.max(1, ...strip.map((column) => column.cells.length))
  const per = Math.max(1, Math.ceil(strip.length / columnsMax))
  const bins = Array.from({ length: Math.ceil(strip.length / per) }, (_, i) => strip.slice(i * per, (i + 1) * per))
  const width = 1000 / Math.max(1, bins.length)
  const rects = bins.flatMap((bin, i) =>
    Array.from({ length: lanes }, (_, lane) => {
      const letter = worst(bin.map((column) => column.cells[lane] ?? ' ').join(''))
      const tone = tones[letter]
      if (!tone) return ''
      const [first] = bin
      const last = bin.at(-1)
      const frames = first?.frame === last?.frame ? `frame ${first?.frame}` : `frames ${first?.frame}–${last?.frame}`
      const at = `x="${(i * width).toFixed(2)}" y="${lane * 22}" width="${Math.max(width - 0.3, 0.4).toFixed(2)}" height="20"`
      return `<rect ${at} fill="${tone.fill}"><title>${frames}, cell ${lane + 1} of the frame: ${tone.word}</title></rect>`
    }),
  )
  const key = Object.values(tones).map((tone) => `<span><i style="background:${tone.fill}"></i>${tone.word}</span>`)
  const note = per > 1 ? ` Each column stands for ${per} frames and shows the strictest.` : ''
  return `<svg viewBox="0 0 1000 ${lanes * 22}" role="img" aria-label="The roll as a strip">${rects.join('')}</svg>
<p class="key">${key.join('')} First frame at the left.${note}</p>`
}

function table(headings: readonly string[], rows: readonly (readonly unknown[])[], empty: string): string {
  if (rows.length === 0) return `<p>${esc(empty)}</p>`
  const head = headings.map((heading) => `<th>${esc(heading)}</th>`).join('')
  const body = rows.map((row) => `<tr>${row.map((cell) => `<td>${esc(cell)}</td>`).join('')}</tr>`).join('\n')
  return `<table><thead><tr>${head}</tr></thead><tbody>${body}</tbody></table>`
}

const style = `body{font:15px/1.45 system-ui,sans-serif;max-width:1040px;margin:2rem auto;padding:0 1rem;color:#1d2327}
h1{font-size:1.5rem;margin:0}h2{font-size:1.1rem;margin:1.8rem 0 .5rem}table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.25rem .5rem;border-bottom:1px solid #d8dcdf;vertical-align:top;overflow-wrap:anywhere}
th{font-weight:600;background:#f3f4f5}svg{width:100%;height:auto;display:block}.key span{margin-right:1rem}
.key i{display:inline-block;width:.8em;height:.8em;margin-right:.3em}code{font:13px ui-monospace,monospace;overflow-wrap:anywhere}
.numbers{display:flex;flex-wrap:wrap;gap:.5rem 2rem;margin:1rem 0}.numbers b{display:block;font-size:1.4rem}
.note{background:#f3f4f5;padding:.6rem .8rem}@media print{body{margin:0}}`

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

function tables(report: RunReport): string {
  const flags = report.flags.map(({ flag, labels, example }) => [
    flag,
    labels,
    `frame ${example.frame}, cell ${example.cell} (entry ${example.index})`,
  ])
  const versions = report.versions.map((use) => [
    use.job,
    use.design,
    use.version,
    use.labels,
    use.setup,
    use.revoked,
    Object.entries(use.layers)
      .map(([layer, digest]) => `${layer} ${digest}`)
      .join('; '),
  ])
  const stops = report.stops.map((stop) => [
    stop.frame === undefined ? '' : `frame ${stop.frame}, cell ${stop.cell}`,
    [stop.flag, stop.job, stop.design, stop.print].filter(Boolean).join(' / '),
    stop.clearedBy ?? 'open',
    stop.clearedWhy ?? '',
    stop.after ?? '',
  ])
  const acts = report.acts.map((act) => [time(act.atMs), act.what, act.by, act.why ?? ''])
  const material = report.material.map((row) => [
    row.event,
    row.positionUm === undefined ? '' : row.positionUm / 1000,
    row.frames ?? '',
    row.note ?? row.foil ?? '',
  ])
  const laid = Object.entries(report.laid).map(([word, labels]) => [word, labels])
  return `<h2>Flags</h2>${table(['flag', 'labels', 'first seen at'], flags, 'No label was flagged.')}
<h2>Versions</h2>${table(['job', 'design', 'version', 'answered lay', 'set-up', 'revoked', 'layers, SHA-256'], versions, 'Nothing was laid.')}
<h2>Stops</h2>${table(['where', 'cause', 'cleared by', 'why', 'after'], stops, 'The web was never asked to stop.')}
<h2>What the controller reported</h2>${table(['laid', 'labels'], laid, '')}
<h2>Who did what</h2>${table(['time (UTC)', 'what', 'who', 'why'], acts, '')}
<h2>The material</h2>${table(['event', 'position mm', 'frames', 'note'], material, 'No events were recorded.')}`
}

/** One self-contained HTML page; everything from outside is escaped. */
export function reportHtml(report: RunReport): string {
  const title = `Roll record ${report.runId}`
  const regulated = report.regulated
    ? '<p class="note">This roll is regulated: a named person releases it. The record shows evidence; it releases nothing.</p>'
    : ''
  const override = report.override
    ? `<p class="note">Opened in spite of blockers: <code>${esc(report.override)}</code></p>`
    : ''
  return `<!doctype html><html lang="en"><head><meta charset="utf-8"><title>${esc(title)}</title>
<meta name="viewport" content="width=device-width"><style>${style}</style></head><body>
<h1>${esc(title)}</h1>
<p>Roll ${esc(report.roll)}, ticket ${esc(report.ticket)}, line ${esc(report.line)}, pass ${report.pass};
${esc(report.jobs.map((job) => `${job.job} (${job.title})`).join(', '))}. State: <b>${esc(report.state)}</b>.
${time(report.openedAtMs)} to ${time(report.lastAtMs)} UTC.</p>
${regulated}${override}${numbers(report)}
${stripSvg(report.strip)}
${tables(report)}
<h2>Proof</h2><p>Ledger of ${report.treeSize} entries, Merkle root <code>${esc(report.root)}</code> (RFC 9162, SHA-256).
Recompute it with <code>rollcall verify ${esc(report.runId)}</code>.</p>
</body></html>
`
}
