// How readers and recalls are shown to a person.
import { describe, expect, it } from 'vitest'
import { readersText } from './commands-readers.ts'
import { recalledText } from './recall-text.ts'

describe('readers', () => {
  it('are shown by port, and by the place that each speaks for', () => {
    const tally = { read: 936, noRead: 2, missing: 1, late: 1, doubled: 0, contradicting: 0 }
    const text = readersText({
      readers: [
        {
          line: 'weir-2',
          port: 7101,
          connected: true,
          silentMs: 1_240,
          lines: 940,
          garbage: 0,
          stray: 2,
          places: [{ lane: 1, ...tally, offMm: -1.26 }],
        },
      ],
      pictureStreams: [{ line: 'weir-2', port: 7110, connected: 1, pictures: 12, refused: 0 }],
    })
    expect(text.split('\n')).toEqual([
      'line    port  connected  last line  lines  garbage  stray',
      'weir-2  7101  yes        1.2 s ago  940    0        2',
      '',
      'line    port  place   read  no-read  missing  late  doubled  contradicting  off mm',
      'weir-2  7101  lane 1  936   2        1        1     0        0              -1.3',
      '',
      'line    port  cameras  pictures  refused',
      'weir-2  7110  1        12        0',
    ])
  })

  it('that are not configured are said to be so', () => {
    expect(readersText({ readers: [], pictureStreams: [] })).toContain('config.json')
  })
})

describe('a recall', () => {
  it('is told with counts, the newest labels that had passed, and how many more there are', () => {
    const label = (frame: number) => ({ frame, cell: 1, place: frame, positionMm: frame * 60, roll: 'R1' })
    const listed = Array.from({ length: 25 }, (_, i) => ({ ...label(40 - i), ...(i === 0 ? {} : { laid: 'full' }) }))
    const lines = recalledText({
      revoked: { labels: 7, listed: [] },
      passed: { labels: 25, listed, reported: { full: 24, part: 0, none: 0, unknown: 0, unreported: 1 } },
    }).split('\n')
    expect(lines[0]).toBe('7 labels revoked in time, 25 labels past the point of no return (24 full, 1 unreported)')
    expect(lines[2]).toBe('40     1     40     2400         R1    unreported')
    expect(lines).toHaveLength(2 + 20 + 1)
    expect(lines.at(-1)).toMatch(/^and 5 labels before them/)
  })
})
