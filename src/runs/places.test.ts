// What happened at each place of the material, against a plain map of the same.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { type PlaceState, PlaceTable } from './places.ts'

describe('the table of places', () => {
  it('knows nothing of a place where nothing happened, however far', () => {
    const places = new PlaceTable(4)
    expect(places.state(0, 0)).toBe('nothing')
    expect(places.state(123_456, 3)).toBe('nothing')
    expect(places.contradicts(123_456, 3, 'text')).toBe(false)
  })

  it('holds the last answer of each place and cell', () => {
    const written: PlaceState[] = ['skipped', 'lay', 'revoked', 'none']
    const puts = fc.record({
      place: fc.integer({ min: 0, max: 5_000 }),
      ordinal: fc.integer({ min: 0, max: 2 }),
      answer: fc.nat(),
      state: fc.constantFrom(...written),
    })
    fc.assert(
      fc.property(fc.array(puts, { maxLength: 200 }), (all) => {
        const places = new PlaceTable(3)
        const known = new Map<string, (typeof all)[number]>()
        for (const put of all) {
          places.put(put, put.state)
          known.set(`${put.place}/${put.ordinal}`, put)
        }
        for (const { place, ordinal, answer, state } of known.values()) {
          expect(places.state(place, ordinal)).toBe(state)
          expect(places.answer(place, ordinal)).toBe(answer)
        }
      }),
      { numRuns: 50 },
    )
  })

  it('holds later texts against the first that was read at the place', () => {
    const places = new PlaceTable(2)
    places.noteText(7, 1, 'J/A/02/000001')
    expect(places.contradicts(7, 1, 'J/A/02/000001')).toBe(false)
    expect(places.contradicts(7, 1, 'J/A/02/000002')).toBe(true)
    expect(places.contradicts(7, 0, 'J/A/02/000002')).toBe(false)
    places.noteText(7, 1, 'J/A/02/000002')
    expect(places.contradicts(7, 1, 'J/A/02/000001')).toBe(false)
  })

  it('tells an empty text from no text', () => {
    const places = new PlaceTable(1)
    places.noteText(0, 0, '')
    expect(places.contradicts(0, 0, '')).toBe(false)
    expect(places.contradicts(0, 0, 'x')).toBe(true)
  })

  it('refuses a cell that the frame has not', () => {
    const places = new PlaceTable(2)
    expect(() => places.state(0, 2)).toThrow('invariant broken')
    expect(() => places.put({ place: 0, ordinal: -1, answer: 0 }, 'lay')).toThrow('invariant broken')
  })
})
