// Operations on gray pictures.
import { describe, expect, it } from 'vitest'
import { blur, crop, enlarge, type GrayPicture, stretch } from './gray.ts'

const picture = (width: number, levels: readonly number[]): GrayPicture => ({
  data: Uint8Array.from(levels),
  width,
  height: levels.length / width,
})
const flat = (level: number, side = 12): GrayPicture => picture(side, Array<number>(side * side).fill(level))

describe('cutting a part out', () => {
  const nine = picture(3, [1, 2, 3, 4, 5, 6, 7, 8, 9])

  it('takes every pixel that the box touches', () => {
    const part = crop(nine, { left: 0.5, top: 1, width: 1, height: 1.2 })
    expect(part).toEqual({ picture: picture(2, [4, 5, 7, 8]), left: 0, top: 1 })
  })

  it('stays within the picture', () => {
    const part = crop(nine, { left: 2, top: -5, width: 9, height: 7 })
    expect(part).toEqual({ picture: picture(1, [3, 6]), left: 2, top: 0 })
  })

  it('gives nothing for a box beside the picture', () => {
    expect(crop(nine, { left: 3, top: 0, width: 5, height: 5 })).toBeUndefined()
    expect(crop(nine, { left: -5, top: 0, width: 5, height: 5 })).toBeUndefined()
  })
})

describe('stretching', () => {
  it('spreads what there is over the whole range', () => {
    const levels = Array.from({ length: 200 }, (_, index) => (index % 2 === 0 ? 120 : 130))
    expect(new Set(stretch(picture(20, levels)).data)).toEqual(new Set([0, 255]))
  })

  it('is not led by single outliers', () => {
    const levels = Array.from({ length: 400 }, (_, index) =>
      index === 0 ? 0 : index === 1 ? 255 : 100 + (index % 2) * 20,
    )
    expect([...stretch(picture(20, levels)).data.slice(2, 4)]).toEqual([0, 255])
  })

  it('leaves a flat picture flat', () => {
    expect(new Set(stretch(flat(77)).data).size).toBe(1)
  })
})

describe('blurring', () => {
  it('leaves a flat picture as it is, up to its edges', () => {
    expect(blur(flat(200)).data.every((level) => Math.abs(level - 200) <= 1)).toBe(true)
  })

  it('spreads a point evenly to all sides and keeps its sum', () => {
    const point = flat(0, 15)
    const data = Uint8Array.from(point.data)
    data[7 * 15 + 7] = 250
    const { data: spread } = blur({ ...point, data })
    const at = (x: number, y: number): number => spread[y * 15 + x] ?? -1
    expect(at(6, 7)).toBe(at(8, 7))
    expect(at(7, 6)).toBe(at(7, 8))
    expect(at(6, 7)).toBe(at(7, 6))
    expect(at(7, 7)).toBeGreaterThan(at(6, 7))
    expect(Math.abs(spread.reduce((sum, level) => sum + level, 0) - 250)).toBeLessThan(15)
  })

  it('takes most of a fine checkerboard away', () => {
    const levels = Array.from({ length: 400 }, (_, index) => ((index + Math.floor(index / 20)) % 2) * 200)
    const middle = blur(picture(20, levels)).data.slice(20 * 10 + 5, 20 * 10 + 15)
    expect(Math.max(...middle) - Math.min(...middle)).toBeLessThan(10)
  })
})

describe('enlarging', () => {
  it('puts straight lines between the pixels and keeps the outermost levels', () => {
    expect([...enlarge(picture(2, [0, 100]), 2).data.slice(0, 4)]).toEqual([0, 25, 75, 100])
    expect(enlarge(picture(2, [0, 100]), 2)).toMatchObject({ width: 4, height: 2 })
  })

  it('leaves a flat picture flat', () => {
    expect(new Set(enlarge(flat(9, 4), 3).data)).toEqual(new Set([9]))
  })
})
