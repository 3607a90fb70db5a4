// Codes of labels that nobody read, from the ticket's sequence: where the nearest labels read before and behind in the same cell stand in
// the sequence as far apart as on the web, what lies between them is known. Nothing is laid by it; it tells what to make again.
import { open } from 'node:fs/promises'
import { readSequence } from '../../lines/index.ts'
import type { WebFold } from './fold.ts'
import type { NameOf } from './label-names.ts'
import type { Section } from './sections.ts'

/** A stretch of one cell between two labels that were read. */
interface Gap {
  readonly ordinal: number
  readonly before: number
  readonly after: number
  readonly codeBefore: string
  readonly codeAfter: string
}

/** A gap of more frames than this is left unknown: a join may lie in it. */
const gapFramesMax = 200

export interface ExpectedFrom {
  readonly fold: WebFold
  readonly nameOf: NameOf
  /** A file that holds the sequence. */
  readonly file: string
}

function nearestNamed({ labels, web }: WebFold, ordinal: number, from: number, step: 1 | -1): number | undefined {
  for (let place = from; place >= 0 && place < web.places; place += step) {
    if (Math.abs(place - from) > gapFramesMax) return undefined
    if (labels.namedAt(place, ordinal) !== undefined) return place
  }
  return undefined
}

async function gapsOf({ fold, nameOf }: ExpectedFrom, sections: Iterable<Section>): Promise<readonly Gap[]> {
  const gaps: Gap[] = []
  for (const { firstPlace, lastPlace, ordinals } of sections) {
    if (lastPlace - firstPlace >= gapFramesMax) continue
    for (const ordinal of ordinals) {
      const before = nearestNamed(fold, ordinal, firstPlace - 1, -1)
      const after = nearestNamed(fold, ordinal, lastPlace + 1, 1)
      if (before === undefined || after === undefined) continue
      const [nameBefore, nameAfter] = [await nameOf(before, ordinal), await nameOf(after, ordinal)]
      if (!nameBefore || !nameAfter) continue
      gaps.push({ ordinal, before, after, codeBefore: nameBefore.text, codeAfter: nameAfter.text })
    }
  }
  return gaps
}

type SequenceTake = NonNullable<Parameters<typeof readSequence>[0]['take']>

async function overSequence(file: string, take: SequenceTake): Promise<void> {
  const handle = await open(file)
  try {
    await readSequence({ handle, file, take })
  } finally {
    await handle.close()
  }
}

const labelKey = (position: number, cell: number): string => `${position} ${cell}`

/** By place × cells + ordinal. Goes over the sequence twice; memory is a few entries a gap. */
export async function expectedCodes(
  given: ExpectedFrom,
  sections: Iterable<Section>,
): Promise<ReadonlyMap<number, string>> {
  const { fold, file } = given
  const gaps = await gapsOf(given, sections)
  const anchors = new Map<string, number[]>(
    gaps.flatMap(({ codeBefore, codeAfter }) => [
      [codeBefore, []],
      [codeAfter, []],
    ]),
  )
  if (anchors.size === 0) return new Map()
  await overSequence(file, ({ code, position }) => void anchors.get(code)?.push(position))
  // A code that stands at several positions tells nothing.
  const positionOf = (code: string): number | undefined => {
    const positions = new Set(anchors.get(code))
    return positions.size === 1 ? [...positions][0] : undefined
  }
  const wanted = new Map<string, number>()
  for (const { ordinal, before, after, codeBefore, codeAfter } of gaps) {
    const [first, last] = [positionOf(codeBefore), positionOf(codeAfter)]
    if (first === undefined || last === undefined || Math.abs(last - first) !== after - before) continue
    const step = Math.sign(last - first)
    const cell = fold.cells[ordinal]?.cell ?? 0
    for (let place = before + 1; place < after; place++) {
      wanted.set(labelKey(first + step * (place - before), cell), place * fold.cells.length + ordinal)
    }
  }
  const codes = new Map<number, string>()
  await overSequence(file, ({ position, cell, code }) => {
    const label = wanted.get(labelKey(position, cell))
    if (label !== undefined) codes.set(label, code)
  })
  return codes
}
