// The drawing, read as a person or a screen reader does: its words, and pixels of it rendered.
import sharp from 'sharp'
import { describe, expect, it } from 'vitest'
import { frameDrawn, webs } from '../../../tests/fixtures/web-drawings.ts'
import { type OrientationInquiry, orientationOf } from './orientation-of.ts'
import { orientationSvg } from './orientation-svg.ts'
import { orientationWords } from './words.ts'

const mixed = webs.at(-1)
const frame = { ...frameDrawn(mixed?.printed ?? ''), eyeMark: { leftMm: 0, topMm: 15, widthMm: 3, heightMm: 1 } }
type Ticket = OrientationInquiry['ticket']

function drawn(said: Partial<Ticket>, names: { ticket?: string; roll?: string; line?: string } = {}) {
  const ticket = { direction: 'as-printed' as const, ...said }
  const orientation = orientationOf({ ticket, line: { line: 'L1' }, frame })
  if (orientation.kind === 'impossible') throw new Error(orientation.message)
  const svg = orientationSvg({ orientation, frame, ticket: 'T1', roll: 'R1', line: 'L1', ...names })
  return { svg, orientation, words: orientationWords(orientation, { frameCells: frame.cells.length }) }
}

async function pixels(svg: string): Promise<(x: number, y: number) => string> {
  const { data, info } = await sharp(Buffer.from(svg)).removeAlpha().raw().toBuffer({ resolveWithObject: true })
  expect([info.width, info.channels]).toEqual([860, 3])
  return (x, y) => data.subarray((y * info.width + x) * 3, (y * info.width + x) * 3 + 3).toString('hex')
}

const purple = '7a2e8e'

/** Whether a ray from the roll's middle, upwards or downwards, meets the printed side outside or inside of the roll's skin. */
async function windingSeen(svg: string): Promise<{ side: 'out' | 'in'; leaves: 'over' | 'under' }> {
  const at = await pixels(svg)
  const rows = Array.from({ length: 300 }, (_, i) => i + 44)
  // Beside the roll, left of its middle: no web is there.
  const skin = rows.filter((y) => at(150, y) === purple)
  const [web] = rows.filter((y) => at(700, y) === purple)
  const middle = ((skin[0] ?? 0) + (skin.at(-1) ?? 0)) / 2
  const reach = ((skin.at(-1) ?? 0) - (skin[0] ?? 0)) / 2
  return { side: reach > 84 ? 'out' : 'in', leaves: (web ?? 0) < middle ? 'over' : 'under' }
}

describe('the drawing of an orientation', () => {
  it('shows a roll wound face out leaving over the top, and one wound face in underneath', async () => {
    expect(await windingSeen(drawn({ material: { face: 'out' } }).svg)).toEqual({ side: 'out', leaves: 'over' })
    expect(await windingSeen(drawn({ material: { face: 'in' } }).svg)).toEqual({ side: 'in', leaves: 'under' })
  })

  it('turns the letter of every cell as the label is turned, and names it', () => {
    for (const leadEdge of ['top', 'bottom'] as const) {
      const { svg, orientation } = drawn({ leadEdge })
      for (const { cell, lane, row, rotateDeg } of orientation.cells) {
        const group = new RegExp(`<title>cell ${cell}, lane ${lane}, row ${row}, turned ${rotateDeg}°.*?</g>`).exec(svg)
        expect(group?.[0]).toContain(`rotate(${rotateDeg})`)
        expect(group?.[0]).toContain(`>cell ${cell}</text>`)
      }
      expect(svg).toContain(`>leads: ${leadEdge} edge of the label in cell 1<`)
      expect(svg).toContain('<title>eye mark</title>')
    }
  })

  it('names lanes from left to right along the travel', () => {
    const lanes = (svg: string) => [...svg.matchAll(/>lane (\d+)</g)].map((found) => Number(found[1]))
    expect(lanes(drawn({ leadEdge: 'top' }).svg)).toEqual([1, 2])
    expect(lanes(drawn({ leadEdge: 'bottom' }).svg)).toEqual([2, 1])
    expect(lanes(drawn({ cells: [2, 4] }).svg)).toEqual([2])
  })

  it('leaves out what is not on a slit roll', () => {
    const { svg, words } = drawn({ cells: [2, 4] })
    expect([...svg.matchAll(/<title>(cell \d)/g)].map(([, name]) => name)).toEqual(['cell 2', 'cell 4'])
    expect(svg).not.toContain('<title>eye mark</title>')
    expect(words.at(-1)).toBe('A slit roll: it carries cells 2 and 4 of 4.')
  })

  it('carries its words for who cannot see it, and loads nothing', () => {
    const { svg, words } = drawn({ leadEdge: 'bottom', direction: 'reversed' })
    expect(svg).toContain('<title id="orientation-title">Roll R1 of ticket T1 on line L1</title>')
    expect(svg).toContain(`<desc id="orientation-words">${words.join(' ')}</desc>`)
    expect(svg).toContain('role="img" aria-labelledby="orientation-title orientation-words"')
    expect(svg.replace('xmlns="http://www.w3.org/2000/svg"', '')).not.toMatch(/http|url\(|@import|href|<script|<image/)
  })

  it('is whole whatever the names are', async () => {
    const hostile = `</text><script>alert("1" & '2')</script>\u0000\u001b]]>\ud800`
    const { svg } = drawn({}, { ticket: hostile, roll: hostile, line: hostile })
    expect(svg).not.toContain('<script')
    expect(svg).toContain('&lt;script&gt;alert(&quot;1&quot; &amp; &#39;2&#39;)')
    await pixels(svg)
  })

  it('has a look of its own in the dark', async () => {
    const { svg } = drawn({})
    const dark = /@media \(prefers-color-scheme:dark\)\{(.*)\}<\/style>/.exec(svg)?.[1] ?? ''
    const night = await pixels(svg.replace(/<style>.*<\/style>/, `<style>${dark}</style>`))
    const day = await pixels(svg)
    expect([day(3, 3), night(3, 3)]).toEqual(['fdfdfb', '17191d'])
    const classes = (rules: string): string[] => [...rules.matchAll(/\.([a-z]+)[,{]/g)].map(([, name]) => name ?? '')
    const used = new Set([...svg.matchAll(/class="([a-z ]+)"/g)].flatMap(([, names]) => (names ?? '').split(' ')))
    used.delete('strong')
    expect([...used].filter((name) => !classes(dark).includes(name))).toEqual([])
  })
})

describe('the words of an orientation', () => {
  it('say what to check at the unwinder', () => {
    expect(drawn({ leadEdge: 'bottom', direction: 'reversed', material: { face: 'in' } }).words).toEqual([
      'The bottom edge of the label in cell 1 leads, as one reads it; some others are turned against it.',
      'Looking along the travel, lane 2 is on the left and lane 1 on the right.',
      'The roll is wound face in: the web leaves it underneath, print up.',
      'The frame that was printed last is on the outside and comes first.',
      'Under the sensor the labels lie: cell 1 upside down, feet first; cell 2 on their sides, heads to the left; cell 3 upright, heads first; cell 4 on their sides, heads to the right.',
    ])
  })
})
