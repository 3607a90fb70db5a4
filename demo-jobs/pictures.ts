// The pictures on the labels, each in a box of 100 × 100: what printing, varnish and foil draw from alike, so that they register.
import { seeded } from './random.ts'

export const flavours = ['quince', 'plum', 'cherry', 'elder', 'mint', 'fennel'] as const
export type Flavour = (typeof flavours)[number]

/** SVG path data of one picture, by what it is: rounded bodies, flat leaves, and the lines that a pen would draw. */
export interface Picture {
  readonly bodies: readonly string[]
  readonly leaves: readonly string[]
  readonly lines: readonly string[]
}

const disc = (x: number, y: number, r: number): string =>
  `M${(x - r).toFixed(2)} ${y.toFixed(2)} a${r} ${r} 0 1 0 ${2 * r} 0 a${r} ${r} 0 1 0 ${-2 * r} 0 Z`

const quince: Picture = {
  bodies: [
    'M50 22 C40 22 37 32 33 40 C22 47 13 58 15 74 C17 91 35 98 50 98 C65 98 83 91 85 74 C87 58 78 47 67 40 C63 32 60 22 50 22 Z',
  ],
  leaves: ['M53 14 C62 1 83 1 94 12 C83 25 64 25 53 14 Z', 'M47 17 C40 6 22 5 10 13 C21 26 38 26 47 17 Z'],
  lines: [
    'M50 24 C50 15 53 9 59 4',
    'M55 14 C67 11 80 11 91 12',
    'M45 17 C36 13 24 13 13 14',
    'M43 96 L47 89 L50 95 L53 89 L57 96',
    'M26 62 C23 70 24 79 29 86',
  ],
}

const plum: Picture = {
  bodies: [
    'M34 30 C17 32 6 48 8 66 C10 84 22 96 36 95 C50 94 59 80 58 63 C57 45 49 29 34 30 Z',
    'M71 38 C86 40 95 53 93 68 C91 84 80 95 69 94 C61 93 56 86 56 84 C62 72 62 58 57 46 C60 41 65 37 71 38 Z',
  ],
  leaves: ['M46 18 C55 4 76 2 88 10 C80 25 58 29 46 18 Z'],
  lines: [
    'M36 31 C38 22 43 14 50 8',
    'M71 39 C68 28 60 18 50 8',
    'M48 18 C60 14 73 11 85 11',
    'M37 33 C29 48 29 74 37 92',
    'M72 40 C79 53 79 76 71 91',
  ],
}

const cherry: Picture = {
  bodies: [disc(29, 74, 22), disc(72, 79, 20)],
  leaves: ['M56 10 C66 -1 87 2 97 15 C84 27 65 25 56 10 Z', 'M52 10 C40 2 23 7 17 19 C31 27 46 24 52 10 Z'],
  lines: [
    'M30 55 C34 38 42 22 54 9',
    'M72 61 C70 42 64 24 54 9',
    'M58 11 C70 12 83 14 94 15',
    'M50 11 C40 13 29 16 20 19',
    'M22 56 C26 60 34 60 38 56',
    'M65 62 C69 66 76 66 80 62',
  ],
}

// An umbel: seven stalks, each with a ring of berries round one in the middle.
function elderPicture(): Picture {
  const random = seeded(17)
  const bodies: string[] = []
  const lines: string[] = []
  for (let stalk = 0; stalk < 7; stalk++) {
    const angle = -Math.PI * (0.08 + (0.84 * stalk) / 6)
    const reach = stalk % 2 === 0 ? 1 : 0.72
    const x = 50 + 37 * reach * Math.cos(angle)
    const y = 56 + 42 * reach * Math.sin(angle)
    const end = { x: 50 + (x - 50) * 0.72, y: 78 + (y - 78) * 0.72 }
    lines.push(
      `M50 78 Q${(50 + (x - 50) * 0.3).toFixed(2)} ${(end.y + 12).toFixed(2)} ${end.x.toFixed(2)} ${end.y.toFixed(2)}`,
    )
    bodies.push(disc(x, y, 4.2))
    for (let berry = 0; berry < 6; berry++) {
      const turn = (berry / 6) * 2 * Math.PI + random() * 0.3
      bodies.push(disc(x + 8.2 * Math.cos(turn), y + 8.2 * Math.sin(turn), 3 + Math.round(random() * 8) / 10))
    }
  }
  return {
    bodies,
    leaves: ['M49 88 C34 74 14 76 4 88 C20 99 40 99 49 88 Z', 'M51 88 C66 74 86 76 96 88 C80 99 60 99 51 88 Z'],
    lines: [...lines, 'M50 78 V99', 'M46 88 C34 86 20 86 9 88', 'M54 88 C66 86 80 86 91 88'],
  }
}

const mint: Picture = {
  bodies: [],
  leaves: [
    'M50 4 C66 14 70 34 50 50 C30 34 34 14 50 4 Z',
    'M48 52 C36 34 14 32 4 44 C14 62 36 64 48 52 Z',
    'M52 52 C64 34 86 32 96 44 C86 62 64 64 52 52 Z',
    'M48 78 C40 62 22 60 12 70 C20 86 38 88 48 78 Z',
    'M52 78 C60 62 78 60 88 70 C80 86 62 88 52 78 Z',
  ],
  lines: ['M50 8 V98', 'M46 52 C34 46 20 44 8 45', 'M54 52 C66 46 80 44 92 45', 'M46 78 L16 71', 'M54 78 L84 71'],
}

const fennel: Picture = {
  bodies: ['M50 54 C34 54 24 66 26 80 C28 92 40 98 50 98 C60 98 72 92 74 80 C76 66 66 54 50 54 Z'],
  leaves: ['M30 50 C22 36 24 20 34 8 C42 22 44 38 40 52 Z', 'M70 50 C78 36 76 20 66 8 C58 22 56 38 60 52 Z'],
  lines: [
    'M50 56 V10',
    'M50 40 L38 28',
    'M50 40 L62 28',
    'M50 28 L42 18',
    'M50 28 L58 18',
    'M40 60 C36 72 38 86 44 96',
    'M60 60 C64 72 62 86 56 96',
  ],
}

export const pictures: Readonly<Record<Flavour, Picture>> = {
  quince,
  plum,
  cherry,
  elder: elderPicture(),
  mint,
  fennel,
}
