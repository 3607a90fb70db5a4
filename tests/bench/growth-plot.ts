// A small picture of how figures grow with size: sizes across on a logarithmic scale, figures upwards from zero.

export interface Curve {
  readonly name: string
  readonly points: readonly { readonly size: number; readonly figure: number }[]
}

interface Plot {
  readonly title: string
  readonly unit: string
  readonly curves: readonly Curve[]
}

const width = 720
const height = 420
const left = 70
const right = 170
const top = 40
const bottom = 50
const colours = ['#1b6e53', '#7fb59e', '#a33b20', '#d89a86', '#555555', '#3f5d8a']

const escaped = (text: string): string => text.replaceAll('&', '&amp;').replaceAll('<', '&lt;')

/** The least of 1, 2, 5 times a power of ten that is no less. */
function roundUp(value: number): number {
  const power = 10 ** Math.floor(Math.log10(value))
  return ([1, 2, 5, 10].find((step) => step * power >= value) ?? 10) * power
}

export function growthPlot({ title, unit, curves }: Plot): string {
  const points = curves.flatMap((curve) => curve.points)
  const sizes = [...new Set(points.map(({ size }) => size))].toSorted((a, b) => a - b)
  const [least = 1] = sizes
  const most = sizes.at(-1) ?? 10
  const highest = roundUp(Math.max(...points.map(({ figure }) => figure)))
  const across = (size: number): number =>
    left + ((width - left - right) * Math.log(size / least)) / Math.max(Math.log(most / least), 1e-9)
  const up = (figure: number): number => height - bottom - ((height - top - bottom) * figure) / highest
  const text = (x: number, y: number, words: string, anchor = 'start'): string =>
    `<text x="${x.toFixed(1)}" y="${y.toFixed(1)}" text-anchor="${anchor}">${escaped(words)}</text>`
  const levels = [0, 0.25, 0.5, 0.75, 1].map((share) => share * highest)
  const lines = curves.map(({ name, points: own }, i) => {
    const colour = colours[i % colours.length]
    const places = own.map(({ size, figure }) => `${across(size).toFixed(1)},${up(figure).toFixed(1)}`)
    const dots = places.map(
      (place) => `<circle cx="${place.split(',')[0]}" cy="${place.split(',')[1]}" r="3" fill="${colour}"/>`,
    )
    return [
      `<polyline points="${places.join(' ')}" fill="none" stroke="${colour}" stroke-width="2"/>`,
      ...dots,
      `<rect x="${width - right + 16}" y="${top + 22 * i}" width="12" height="12" fill="${colour}"/>`,
      text(width - right + 34, top + 10 + 22 * i, name),
    ].join('\n')
  })
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" font-family="sans-serif" font-size="12">`,
    `<rect width="${width}" height="${height}" fill="white"/>`,
    text(left, 22, `${title}, ${unit}`),
    ...levels.map(
      (level) =>
        `<path d="M${left} ${up(level)}H${width - right}" stroke="#dddddd"/>\n${text(left - 8, up(level) + 4, String(level), 'end')}`,
    ),
    ...sizes.map((size) => text(across(size), height - bottom + 20, size.toLocaleString('en-GB'), 'middle')),
    ...lines,
    '</svg>\n',
  ].join('\n')
}
