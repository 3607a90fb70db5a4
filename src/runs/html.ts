// Pieces of a page: escaping, and tables whose columns know how their content likes to stand.

const escapes: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
}

/** Text for an element or a quoted attribute. */
export const esc = (value: unknown): string =>
  String(value ?? '').replaceAll(/[&<>"']/g, (char) => escapes[char] ?? char)

/** `name` and `time` don't break, `number` stands to the right, `digest` is small and breaks anywhere, `text` as it comes. */
type ColumnKind = 'text' | 'name' | 'number' | 'time' | 'digest'

export type Column = readonly [heading: string, kind: ColumnKind]

// A value of several lines has one line each.
const cellHtml = (value: unknown): string => (Array.isArray(value) ? value.map(esc).join('<br>') : esc(value))

/** A table, or a sentence in its place where there are no rows. */
export function tableHtml(columns: readonly Column[], rows: readonly (readonly unknown[])[], empty: string): string {
  if (rows.length === 0) return `<p>${esc(empty)}</p>`
  const head = columns.map(([heading, kind]) => `<th class="${kind}">${esc(heading)}</th>`).join('')
  const body = rows.map((row) => {
    const cells = row.map((value, i) => `<td class="${columns[i]?.[1] ?? 'text'}">${cellHtml(value)}</td>`)
    return `<tr>${cells.join('')}</tr>`
  })
  return `<table><thead><tr>${head}</tr></thead><tbody>${body.join('\n')}</tbody></table>`
}
