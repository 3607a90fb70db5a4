// Pictures of codes for tests: symbols from bwip-js (an encoder that shares nothing with the reader) put on paper as a camera
// would see them: any module size, angle, blur, contrast, noise, glare. Everything follows from the seed.
import bwipjs from 'bwip-js/node'

export interface Gray {
  readonly data: Uint8Array
  readonly width: number
  readonly height: number
}

export interface Modules {
  readonly width: number
  readonly height: number
  /** 1 is dark. */
  readonly dark: readonly number[]
}

export interface DrawnSymbol {
  readonly modules: Modules
  readonly modulePx: number
  /** Centre of the symbol. */
  readonly x: number
  readonly y: number
  /** Clockwise. */
  readonly turnDeg?: number
}

export interface Scene {
  readonly width: number
  readonly height: number
  readonly symbols: readonly DrawnSymbol[]
  readonly paper?: number
  readonly ink?: number
  readonly blurPx?: number
  /** Standard deviation of the noise, gray levels. */
  readonly noise?: number
  readonly seed?: number
}

type Options = Readonly<Record<string, string | number | boolean>>

/** Modules of a symbol without quiet zone. Linear symbols come 20 modules high. */
export function encode(bcid: string, text: string, options: Options = {}): Modules {
  const drawn = bwipjs.raw({ bcid, text, ...options } as Parameters<typeof bwipjs.raw>[0])
  const symbol = (drawn as readonly Record<string, unknown>[])[0] ?? {}
  if (Array.isArray(symbol.pixs)) {
    return { width: Number(symbol.pixx), height: Number(symbol.pixy), dark: symbol.pixs as number[] }
  }
  const row = (symbol.sbs as number[]).flatMap((width, index) => Array<number>(width).fill(index % 2 === 0 ? 1 : 0))
  return { width: row.length, height: 20, dark: Array.from({ length: 20 }, () => row).flat() }
}

/** A seeded source of numbers in [0, 1) (mulberry32). */
export function randomFrom(seed: number): () => number {
  let state = seed >>> 0
  return () => {
    state = (state + 0x6d2b79f5) >>> 0
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state)
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32
  }
}

export function drawScene(scene: Scene): Gray {
  const { width, height, paper = 230, ink = 40 } = scene
  const light = new Float32Array(width * height).fill(paper)
  for (const symbol of scene.symbols) drawSymbol({ light, width, height, paper, ink }, symbol)
  const blurred = blur({ light, width, height, sigma: scene.blurPx ?? 0 })
  const random = randomFrom(scene.seed ?? 1)
  const data = new Uint8Array(width * height)
  for (let index = 0; index < data.length; index++) {
    const noise = scene.noise ? gaussian(random) * scene.noise : 0
    data[index] = Math.max(0, Math.min(255, Math.round((blurred[index] ?? 0) + noise)))
  }
  return { data, width, height }
}

interface Canvas {
  readonly light: Float32Array
  readonly width: number
  readonly height: number
  readonly paper: number
  readonly ink: number
}

/** Each pixel is the mean of 4 × 4 samples. */
function drawSymbol(canvas: Canvas, symbol: DrawnSymbol): void {
  const { modules, modulePx, x, y, turnDeg = 0 } = symbol
  const cos = Math.cos((turnDeg * Math.PI) / 180)
  const sin = Math.sin((turnDeg * Math.PI) / 180)
  const reach = Math.ceil((Math.hypot(modules.width, modules.height) * modulePx) / 2) + 1
  const isDark = (px: number, py: number): number => {
    const column = Math.floor((px * cos + py * sin) / modulePx + modules.width / 2)
    const row = Math.floor((-px * sin + py * cos) / modulePx + modules.height / 2)
    if (column < 0 || row < 0 || column >= modules.width || row >= modules.height) return 0
    return modules.dark[row * modules.width + column] ?? 0
  }
  for (let py = Math.max(0, Math.floor(y - reach)); py < Math.min(canvas.height, y + reach); py++) {
    for (let px = Math.max(0, Math.floor(x - reach)); px < Math.min(canvas.width, x + reach); px++) {
      let dark = 0
      for (let s = 0; s < 16; s++) dark += isDark(px + ((s % 4) + 0.5) / 4 - x, py + (Math.floor(s / 4) + 0.5) / 4 - y)
      if (dark > 0) canvas.light[py * canvas.width + px] = canvas.paper + ((canvas.ink - canvas.paper) * dark) / 16
    }
  }
}

function blur(input: { light: Float32Array; width: number; height: number; sigma: number }): Float32Array {
  const { light, width, height, sigma } = input
  if (sigma <= 0) return light
  const reach = Math.ceil(sigma * 3)
  const kernel = Array.from({ length: 2 * reach + 1 }, (_, index) =>
    Math.exp(-((index - reach) ** 2) / (2 * sigma ** 2)),
  )
  const sum = kernel.reduce((total, weight) => total + weight, 0)
  const pass = (from: Float32Array, step: number, size: number, along: (index: number) => number): Float32Array => {
    const to = new Float32Array(from.length)
    for (let index = 0; index < from.length; index++) {
      let value = 0
      for (let k = -reach; k <= reach; k++) {
        const at = Math.max(0, Math.min(size - 1, along(index) + k))
        value += (kernel[k + reach] ?? 0) * (from[index + (at - along(index)) * step] ?? 0)
      }
      to[index] = value / sum
    }
    return to
  }
  const across = pass(light, 1, width, (index) => index % width)
  return pass(across, width, height, (index) => Math.floor(index / width))
}

function gaussian(random: () => number): number {
  return Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random())
}
