// The jar label of job 1 and of the teas printed on the same web: 48 × 54 mm, the code in the lower right corner.
import type { LabelLayout } from '../label-layout.ts'
import { bleedMm, cellSizeMm, codeAt } from './web.ts'

/** Dots of the raised ground, off the picture, the lettering and the code. */
function groundDots(): string {
  const dots: string[] = []
  for (let row = 0; row < 46; row++) {
    for (let column = 0; column < 42; column++) {
      const x = -0.4 + column * 1.2 + (row % 2) * 0.6
      const y = -0.4 + row * 1.2
      const inMargin = x < 2.2 || x > 45.8 || y < 2.2 || y > 51.8
      const aroundPicture = y > 3.8 && y < 29 && x > 3.8 && x < 44.2 && Math.hypot(x - 24, y - 16.6) > 14.2
      const nearCode = x > codeAt.leftMm - 3.4 && y > codeAt.topMm - 3.4
      if ((inMargin || aroundPicture) && !nearCode)
        dots.push(`<circle cx="${x.toFixed(2)}" cy="${y.toFixed(2)}" r="0.3"/>`)
    }
  }
  return dots.join('')
}

function outline(insetMm: number): string {
  const [near, right, bottom] = [3 + insetMm, 45 - insetMm, 51 - insetMm]
  return `M${near} ${near} H${right} V${36.6 - insetMm} H${30.8 - insetMm} V${bottom} H${near} Z`
}

export const jarLayout: LabelLayout = {
  widthMm: cellSizeMm.width,
  heightMm: cellSizeMm.height,
  bleedMm,
  picture: { leftMm: 12, topMm: 4.6, widthMm: 24, heightMm: 24 },
  title: { xMm: 24, yMm: 30.3, capMm: 4, widthMmMax: 36 },
  subtitle: { xMm: 17, yMm: 39.2, capMm: 1.6, widthMmMax: 24 },
  brand: { xMm: 17, yMm: 42.6, capMm: 2.4, widthMmMax: 24 },
  net: { xMm: 17, yMm: 46.9, capMm: 1.7, widthMmMax: 24 },
  printMark: { xMm: 5, yMm: 52.2, capMm: 1.2, widthMmMax: 3 },
  outline,
  relief: { leftMm: 3, topMm: 3.5, widthMm: 42, heightMm: 33 },
  foil: { leftMm: 2, topMm: 2, widthMm: 44, heightMm: 50 },
  band: { leftMm: 7, rightMm: 41, aboveMm: 29.4, belowMm: 35.3, scallopsMm: 35 },
  codePanel: { leftMm: 31.6, topMm: 37.6, widthMm: 14.8, heightMm: 16.1 },
  star: 'M17 46.6 L17.35 47.45 L18.2 47.8 L17.35 48.15 L17 49 L16.65 48.15 L15.8 47.8 L16.65 47.45 Z',
  drops: [
    [12.6, 12.8, 0.9],
    [36.2, 12.2, 1.1],
    [11.4, 19.4, 0.7],
    [36.6, 21.6, 0.8],
    [37.2, 17.1, 0.6],
    [11.6, 24.9, 1],
  ],
  dotted: { flavour: 'quince', circles: groundDots },
}
