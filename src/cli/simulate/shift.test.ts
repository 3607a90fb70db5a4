// The constant shift: found where nearly all codes of a stretch belong so many frames further, and nowhere else.
import { describe, expect, it } from 'vitest'
import { openShiftFinder } from './shift.ts'

const truth = (place: number, cell: number): string | undefined => (place < 0 ? undefined : `${place}/${cell}`)

function find(readAt: (place: number, cell: number) => string | undefined, places = 60) {
  const finder = openShiftFinder()
  for (let place = 0; place < places; place++) {
    for (const cell of [1, 2, 3, 4]) {
      const text = readAt(place, cell)
      if (text !== undefined) finder.take({ frame: place, text, textAt: (frames) => truth(place + frames, cell) })
    }
  }
  return finder.found()
}

describe('a shift', () => {
  it('is none where every code is the label’s own', () => {
    expect(find(truth)).toBeUndefined()
  })

  it('is named with its length and where it is', () => {
    expect(find((place, cell) => truth(place >= 20 ? place - 1 : place, cell))).toEqual({
      frames: 1,
      firstFrame: 20,
      lastFrame: 59,
      labels: 160,
    })
    expect(find((place, cell) => truth(place + 2, cell))).toMatchObject({ frames: -2, firstFrame: 0, lastFrame: 59 })
  })

  it('is seen through labels that were not read', () => {
    const worn = (place: number, cell: number) => (place % 3 === cell % 3 ? undefined : truth(place - 1, cell))
    expect(find(worn)).toMatchObject({ frames: 1 })
  })

  it('is none where only single codes are those of a neighbour', () => {
    expect(find((place, cell) => truth(place % 10 === 4 ? place - 1 : place, cell))).toBeUndefined()
    expect(find((place, cell) => truth(place === 30 || place === 31 ? place - 1 : place, cell))).toBeUndefined()
  })
})
