// Labels in a row joined to sections.
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { joinSections } from './sections.ts'

/** Rows are places, letters the reasons of each cell; a dot is nothing. */
const sectionsOf = (rows: readonly string[], places = rows.map((_, i) => i)) =>
  [
    ...joinSections({
      places,
      ordinals: [...(rows[0] ?? '')].map((_, i) => i),
      reasonOf: (place, ordinal) => (rows[place]?.[ordinal] === '.' ? undefined : rows[place]?.[ordinal]),
    }),
  ].map(({ firstPlace, lastPlace, ordinals, reason }) => [firstPlace, lastPlace, ordinals.join(), reason])

describe('sections', () => {
  it('join what is said of labels in a row, cell by cell', () => {
    expect(sectionsOf(['a.', 'a.', '.b', 'a.'])).toEqual([
      [0, 1, '0', 'a'],
      [2, 2, '1', 'b'],
      [3, 3, '0', 'a'],
    ])
  })

  it('are one for cells that begin and end together with the same said of them', () => {
    expect(sectionsOf(['aab', 'aab', '..b'])).toEqual([
      [0, 1, '0,1', 'a'],
      [0, 2, '2', 'b'],
    ])
  })

  it('stand in the order of their beginnings, also where an earlier one runs on', () => {
    expect(sectionsOf(['a.', 'ab', 'a.', 'ac'])).toEqual([
      [0, 3, '0', 'a'],
      [1, 1, '1', 'b'],
      [3, 3, '1', 'c'],
    ])
  })

  it('break where places do not follow each other', () => {
    expect(sectionsOf(['a', 'a', 'a', 'a'], [3, 1, 0])).toEqual([
      [3, 3, '0', 'a'],
      [1, 0, '0', 'a'],
    ])
  })

  it('hold every label once, whatever the pattern', () => {
    const rows = fc.array(fc.stringMatching(/^[.ab]{3}$/), { minLength: 1, maxLength: 30 })
    fc.assert(
      fc.property(rows, (given) => {
        const reasonOf = (place: number, ordinal: number) => given[place]?.[ordinal]?.replace('.', '') || undefined
        const walk = { places: given.map((_, i) => i), ordinals: [0, 1, 2], reasonOf }
        const sections = [...joinSections(walk)]
        const labels = sections.flatMap(({ firstPlace, lastPlace, ordinals, reason }) =>
          ordinals.flatMap((ordinal) =>
            Array.from({ length: lastPlace - firstPlace + 1 }, (_, i) => `${firstPlace + i} ${ordinal} ${reason}`),
          ),
        )
        const wanted = given.flatMap((row, place) =>
          [...row].flatMap((reason, ordinal) => (reason === '.' ? [] : [`${place} ${ordinal} ${reason}`])),
        )
        expect(labels.toSorted()).toEqual(wanted.toSorted())
        const begins = sections.map(({ firstPlace }) => firstPlace)
        expect(begins).toEqual(begins.toSorted((a, b) => a - b))
      }),
    )
  })
})
