// The shape of an entry and of each type's body: exactly these keys, of these kinds. Written down here a second time, apart from
// the writer's schemas; a test holds the two against each other.
import { decisions, flags } from '../../kernel/terms.ts'
import type { EntryBodies, EntryType } from '../entries.ts'
import { Fault } from './fault.ts'
import type { Plain, PlainObject } from './parse-line.ts'

/** An entry whose shape was checked. */
export type ShapedEntry = {
  [T in EntryType]: { readonly index: number; readonly epoch: number; readonly type: T; readonly body: EntryBodies[T] }
}[EntryType]

/** Where a value is wrong, as a JSON pointer from itself; undefined where it is right. */
type Check = (value: Plain) => string | undefined

const when =
  (isRight: (value: Plain) => boolean): Check =>
  (value) =>
    isRight(value) ? undefined : ''

const int = when(Number.isSafeInteger)
const count = when((value) => Number.isSafeInteger(value) && Number(value) >= 0)
const text = when((value) => typeof value === 'string')
const oneOf = (...known: readonly Plain[]): Check => {
  const set = new Set(known)
  return when((value) => set.has(value))
}
const matching = (pattern: RegExp): Check => when((value) => typeof value === 'string' && pattern.test(value))
const digest = matching(/^[0-9a-f]{64}$/)

const listOf =
  (item: Check): Check =>
  (value) => {
    if (!Array.isArray(value)) return ''
    for (let i = 0; i < value.length; i += 1) {
      const wrong = item(value[i])
      if (wrong !== undefined) return `/${i}${wrong}`
    }
    return undefined
  }

type Checks = Readonly<Record<string, Check>>

function object(required: Checks, optional: Checks = {}): Check {
  const checks = new Map(Object.entries({ ...required, ...optional }))
  const requiredKeys = Object.keys(required)
  return (value) => {
    if (!isObject(value)) return ''
    let last = ''
    for (const key in value) {
      // By UTF-16 code units, as RFC 8785 §3.2.3 asks.
      if (key <= last) throw new Fault('not-canonical', `key "${key}" stands behind "${last}"`)
      last = key
      const wrong = checkMember(checks.get(key), value[key])
      if (wrong !== undefined) return `/${key}${wrong}`
    }
    const missing = requiredKeys.find((key) => value[key] === undefined)
    return missing === undefined ? undefined : `/${missing}`
  }
}

const checkMember = (check: Check | undefined, member: Plain | undefined): string | undefined =>
  check === undefined || member === undefined ? '' : check(member)

const isObject = (value: Plain): value is PlainObject =>
  typeof value === 'object' && value !== null && !Array.isArray(value)

const flag = oneOf(...flags)
const scope = oneOf('cell', 'frame', 'common')
const read = object({}, { cell: count, lane: count, text, symbology: text, qualityPpm: count })
const reads = listOf(read)
const cause = object({ flag }, { job: text, design: text, print: text })
const identity = object({ job: text, design: text, text }, { print: text, serial: text, version: count })
const placement = object({ leftUm: int, topUm: int, widthUm: count, heightUm: count })
const layer = object({ digest, layer: text, station: text, order: count, scope, placement })

const person = { why: text, second: text, key: text, secondKey: text }
const compared = listOf(object({ lane: count, frame: count, cell: count }))
const laneRolls = listOf(object({ roll: text, lanes: listOf(count) }))

// biome-ignore format: by what they are about
const materialEvent = oneOf('splice', 'cut-out', 're-thread', 'pitch-change', 'foil',
  'split', 'slit', 'partial', 'rewind', 'void')

const bodies: Readonly<Record<EntryType, Check>> = {
  step: object(
    { to: oneOf('ready', 'proving', 'open', 'stopped', 'closing', 'sealed', 'aborted'), by: text },
    {
      ...person,
      ticket: text,
      line: text,
      frozen: text,
      override: text,
      lanes: listOf(count),
      compared,
      again: oneOf('re-thread', 'pitch-change', 'slipped-count'),
      cause,
      after: oneOf('resume', 'skip-rest'),
      frame: count,
      cell: count,
    },
  ),
  frame: object(
    { frame: count, place: count, positionUm: int },
    { markSpacingUm: count, capture: digest, reads, awaits: oneOf(1) },
  ),
  reads: object({ frame: count, reads }, { capture: digest }),
  answer: object(
    {
      frame: count,
      place: count,
      cell: count,
      decision: oneOf(...decisions),
      flags: listOf(flag),
      layers: listOf(layer),
      rotateDeg: oneOf(0, 90, 180, 270),
      noReturnUm: int,
    },
    { identity, setup: oneOf(1), cause },
  ),
  revocation: object({ answer: count, frame: count, cell: count, flag }),
  laid: object({ frame: count, cell: count, laid: oneOf('full', 'part', 'none', 'unknown') }),
  material: object(
    { event: materialEvent },
    {
      positionUm: int,
      toPositionUm: int,
      frames: count,
      station: text,
      foil: text,
      leftUm: int,
      widthUm: count,
      roll: text,
      laneRolls,
      voids: count,
      note: text,
      by: text,
      second: text,
      key: text,
      secondKey: text,
    },
  ),
  act: object(
    { act: oneOf('withdraw', 'recover', 'note'), by: text },
    { ...person, job: text, design: text, version: count },
  ),
}

const anything: Check = () => undefined
const envelope = object({
  atMs: int,
  body: anything,
  epoch: count,
  index: count,
  salt: matching(/^[0-9a-f]{32}$/),
  type: oneOf(...Object.keys(bodies)),
  v: oneOf(1),
})

/**
 * The value as an entry. Throws a Fault `shape` naming the first key that is missing, unknown or of the wrong kind, and
 * `not-canonical` for keys out of order.
 */
export function shapeEntry(value: Plain): ShapedEntry {
  const wrong = envelope(value)
  if (wrong !== undefined) throw new Fault('shape', `not an entry: ${wrong === '' ? 'no object' : wrong}`)
  const entry = value as unknown as ShapedEntry
  const wrongBody = bodies[entry.type](entry.body as unknown as Plain)
  if (wrongBody !== undefined) throw new Fault('shape', `not the body of "${entry.type}": /body${wrongBody}`)
  return entry
}
