// How times and numbers are written in the record.

/** In UTC; whoever shows it says so. */
export const time = (ms: number): string => new Date(ms).toISOString().replace('T', ' ').slice(0, 19)

/** `1–4, 7` for 1, 2, 3, 4, 7. */
export function ranges(numbers: readonly number[]): string {
  const texts: string[] = []
  for (let i = 0; i < numbers.length; i++) {
    const from = i
    while (numbers[i + 1] === (numbers[i] ?? 0) + 1) i++
    texts.push(i - from > 1 ? `${numbers[from]}–${numbers[i]}` : numbers.slice(from, i + 1).join(', '))
  }
  return texts.join(', ')
}

const thousands = new Intl.NumberFormat('en-GB')

/** Thousands apart, so that long counts can be read. */
export const count = (value: number): string => thousands.format(value)

export const metres = (value: number): string => value.toFixed(2)

export const share = (part: number, whole: number): string =>
  whole === 0 ? '–' : `${((100 * part) / whole).toFixed(1)} %`

/** Names that are there, with slashes between. */
export const joined = (parts: readonly (string | number | undefined)[]): string =>
  parts.filter((part) => part !== undefined && part !== '').join(' / ')

export const people = ({ by, second }: { by: string; second?: string | undefined }): string =>
  second === undefined ? by : `${by} with ${second}`
