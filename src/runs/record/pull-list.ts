// The pull list: where to stop a finished roll when it is unwound from the outside, and what is wrong there.
import { type FinishedRoll, fromOutsideUm, placesFromOutside, toleranceUm } from '../finished-rolls.ts'
import type { WebFold } from './fold.ts'
import type { LabelName, NameOf } from './label-names.ts'
import type { LabelClass } from './label-table.ts'
import { joinSections, type Section } from './sections.ts'

export interface PullRow {
  readonly roll: string
  /** From the outside of the roll as it is wound now, near and far end of the section, m. */
  readonly fromM: number
  readonly toM: number
  /** How far the section may lie from there, m. */
  readonly toleranceM: number
  readonly lanes: readonly number[]
  readonly cells: readonly number[]
  readonly frames: number
  readonly labels: number
  readonly class: LabelClass
  /** Flags, or what was decided or reported. */
  readonly what: string
  /** Frame numbers of the section's ends, as met; absent where the web passed without a trigger. */
  readonly firstFrame?: number
  readonly lastFrame?: number
  /** Codes of the first of the cells: of the nearest label met before the section that was read, the section's own, and behind it. */
  readonly codeBefore?: string
  /** How many frames before, from 1. */
  readonly framesBefore?: number
  readonly codeFirst?: string
  readonly codeLast?: string
  readonly codeAfter?: string
  readonly framesAfter?: number
}

/** How far a neighbour that was read is looked for, frames. */
const neighbourFramesMax = 20

const ofOrdinals = (fold: WebFold, roll: Pick<FinishedRoll, 'lanes'>): number[] =>
  fold.cells.flatMap(({ lane }, ordinal) => (!roll.lanes || roll.lanes.includes(lane) ? [ordinal] : []))

function whatOf(fold: WebFold, place: number, ordinal: number, kind: LabelClass): string {
  const fate = fold.labels.fate(place, ordinal)
  if (fate === 'nothing') return fold.web.frame(place) === undefined ? 'passed without a trigger' : 'not answered'
  const flags = fold.labels.flagsOf(place, ordinal).join(', ')
  // Whether a label was skipped or asked for a stop as well is all the same to who pulls it.
  if (fate === 'skip' || fate === 'stop') return flags || 'skip'
  const laid = kind === 'set-up' ? 'made as set-up' : fate
  const said = fate === 'none' ? 'reported none' : laid
  return flags ? `${said}: ${flags}` : said
}

const reasonPart = '\n'

/** What is wrong with a label on a roll: its class and what was said of it; undefined for one that is laid as it should be. */
export function reasonOf(
  fold: WebFold,
  recalled: ReadonlySet<number>,
): (place: number, ordinal: number) => string | undefined {
  return (place, ordinal) => {
    const kind = fold.labels.classOf(place, ordinal)
    const spoiledBy = kind === 'spoiled' ? fold.labels.spoiledBy(place, ordinal) : ''
    if (spoiledBy) return `${kind}${reasonPart}${spoiledBy}`
    if (kind !== 'laid') return `${kind}${reasonPart}${whatOf(fold, place, ordinal, kind)}`
    const use = fold.labels.use(place, ordinal)
    return use !== undefined && recalled.has(use) ? `laid${reasonPart}lay, version withdrawn since` : undefined
  }
}

/** The next places from one on, met in order of unwinding (`step` 1) or against it (−1), the one itself left out. */
function* placesFrom({ ranges, rewound }: FinishedRoll, place: number, step: 1 | -1): Generator<number> {
  const along = rewound ? step : -step
  const ordered = along > 0 ? ranges : ranges.toReversed()
  for (const { firstPlace, lastPlace } of ordered) {
    if (along > 0) for (let p = Math.max(firstPlace, place + 1); p <= lastPlace; p++) yield p
    else for (let p = Math.min(lastPlace, place - 1); p >= firstPlace; p--) yield p
  }
}

export interface PullWith {
  readonly fold: WebFold
  readonly nameOf: NameOf
  /** Numbers of uses whose version was withdrawn. */
  readonly recalled: ReadonlySet<number>
}

async function neighbour(
  { nameOf }: PullWith,
  places: Generator<number>,
  ordinal: number,
): Promise<{ name: LabelName; frames: number } | undefined> {
  let frames = 0
  for (const place of places) {
    if (++frames > neighbourFramesMax) return undefined
    const name = await nameOf(place, ordinal)
    if (name) return { name, frames }
  }
  return undefined
}

async function codesOf(given: PullWith, roll: FinishedRoll, section: Section): Promise<Partial<PullRow>> {
  const ordinal = section.ordinals[0] ?? 0
  const before = await neighbour(given, placesFrom(roll, section.firstPlace, -1), ordinal)
  const after = await neighbour(given, placesFrom(roll, section.lastPlace, 1), ordinal)
  const first = await given.nameOf(section.firstPlace, ordinal)
  const last = await given.nameOf(section.lastPlace, ordinal)
  return {
    ...(before ? { codeBefore: before.name.text, framesBefore: before.frames } : {}),
    ...(first ? { codeFirst: first.text } : {}),
    ...(last ? { codeLast: last.text } : {}),
    ...(after ? { codeAfter: after.name.text, framesAfter: after.frames } : {}),
  }
}

const round3 = (um: number): number => Math.round(um / 1000) / 1000

/** Near and far end of a section from the outside, µm. */
function ends(
  { web }: WebFold,
  roll: FinishedRoll,
  { firstPlace, lastPlace }: Section,
): { nearUm: number; farUm: number } {
  const [near, far] = roll.rewound
    ? [web.webUm(firstPlace), web.webUm(lastPlace) + web.pitchUm]
    : [web.webUm(firstPlace) + web.pitchUm, web.webUm(lastPlace)]
  return { nearUm: near, farUm: far }
}

/** Places to stop at on one roll, from its outside inwards. */
export async function* pullRows(given: PullWith, roll: FinishedRoll): AsyncGenerator<PullRow> {
  const { fold, recalled } = given
  const ordinals = ofOrdinals(fold, roll)
  const reason = reasonOf(fold, recalled)
  for (const section of joinSections({ places: placesFromOutside(roll), ordinals, reasonOf: reason })) {
    const { nearUm, farUm } = ends(fold, roll, section)
    const cells = section.ordinals.flatMap((ordinal) => fold.cells[ordinal] ?? [])
    const [kind = '', what = ''] = section.reason.split(reasonPart)
    const [firstFrame, lastFrame] = [fold.web.frame(section.firstPlace), fold.web.frame(section.lastPlace)]
    yield {
      roll: roll.roll,
      fromM: round3(fromOutsideUm(roll, nearUm)),
      toM: round3(fromOutsideUm(roll, farUm)),
      toleranceM: round3(toleranceUm(fold.web, roll, nearUm)),
      lanes: [...new Set(cells.map(({ lane }) => lane))],
      cells: cells.map(({ cell }) => cell),
      frames: section.frames,
      labels: section.frames * cells.length,
      class: kind as LabelClass,
      what,
      ...(firstFrame === undefined ? {} : { firstFrame }),
      ...(lastFrame === undefined ? {} : { lastFrame }),
      ...(await codesOf(given, roll, section)),
    }
  }
}
