// What line controllers, cameras and people may send to a run, in any order: frames that follow, repeat, conflict, leap and go back;
// reports, acts, recalls, restarts. Numbers are mostly relative to where the run stands, so that sequences get somewhere.
import fc from 'fast-check'
import { hostileText, longText } from './hostile-text.ts'

/** A frame number: behind the last one, one given before, or any. */
export type FrameNumber =
  | { readonly by: 'step'; readonly step: number }
  | { readonly by: 'back'; readonly back: number }
  | { readonly by: 'value'; readonly value: number }

/** A position: where the frame belongs with an offset, relative to the last one, or any. */
export type Position =
  | { readonly by: 'natural'; readonly offMm: number }
  | { readonly by: 'travel'; readonly mm: number }
  | { readonly by: 'same' }
  | { readonly by: 'value'; readonly value: number }

export interface FrameDraft {
  readonly frame: FrameNumber
  readonly position: Position
  readonly reads: readonly Readonly<Record<string, unknown>>[]
  readonly more: Readonly<Record<string, unknown>>
}

export type RunCommand =
  | { readonly do: 'frames'; readonly frames: readonly FrameDraft[]; readonly twice: boolean }
  /** Frames once more that were taken before, as a controller does that lost the reply. */
  | { readonly do: 'again'; readonly back: number }
  /** The web runs backwards and comes again: the same labels at the same positions under new frame numbers. */
  | { readonly do: 'back up'; readonly frames: number; readonly offMm: number }
  | { readonly do: 'capture'; readonly frame: FrameNumber; readonly position: Position; readonly digest: number }
  | { readonly do: 'picture'; readonly back: number; readonly reads: readonly Readonly<Record<string, unknown>>[] }
  | { readonly do: 'laid'; readonly reports: readonly { frame: FrameNumber; cell: unknown; laid: unknown }[] }
  | { readonly do: 'material'; readonly body: Readonly<Record<string, unknown>> }
  | {
      readonly do: 'act'
      readonly act: 'proving' | 'close' | 'seal' | 'abort'
      readonly body: Readonly<Record<string, unknown>>
    }
  | { readonly do: 'prove'; readonly body: Readonly<Record<string, unknown>> }
  | { readonly do: 'ticket'; readonly body: Readonly<Record<string, unknown>> }
  | { readonly do: 'clear'; readonly open: number; readonly body: Readonly<Record<string, unknown>> }
  | { readonly do: 'withdraw'; readonly design: string; readonly version: number }
  | { readonly do: 'condition'; readonly design: string; readonly condition: 'missing' | 'damaged' | 'sound' }
  | { readonly do: 'poll'; readonly after: number; readonly count: number }
  | { readonly do: 'restart' }

const absurdNumber = fc.constantFrom<number>(
  -1,
  0.5,
  1e9,
  -1e9,
  1_000_000_001,
  2 ** 31,
  2 ** 53 - 1,
  2 ** 53,
  1e21,
  5e-324,
  1.7976931348623157e308,
  Number.NaN,
  Number.POSITIVE_INFINITY,
)

const frameNumber: fc.Arbitrary<FrameNumber> = fc.oneof(
  { weight: 60, arbitrary: fc.constant<FrameNumber>({ by: 'step', step: 1 }) },
  { weight: 4, arbitrary: fc.record({ by: fc.constant('step' as const), step: fc.integer({ min: -3, max: 12 }) }) },
  { weight: 2, arbitrary: fc.record({ by: fc.constant('back' as const), back: fc.nat(6) }) },
  {
    weight: 1,
    arbitrary: fc.record({ by: fc.constant('step' as const), step: fc.constantFrom(999, 1_000, 1_001, 1e6) }),
  },
  { weight: 1, arbitrary: fc.record({ by: fc.constant('value' as const), value: fc.oneof(absurdNumber, fc.nat(40)) }) },
)

const position: fc.Arbitrary<Position> = fc.oneof(
  { weight: 40, arbitrary: fc.constant<Position>({ by: 'natural', offMm: 0 }) },
  {
    weight: 3,
    arbitrary: fc.record({
      by: fc.constant('natural' as const),
      offMm: fc.double({ min: -40, max: 40, noNaN: true }),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({
      by: fc.constant('travel' as const),
      mm: fc.constantFrom(60, 0, -60, -120, -300, 30, 59.9996, 600),
    }),
  },
  { weight: 2, arbitrary: fc.constant<Position>({ by: 'same' }) },
  {
    weight: 1,
    arbitrary: fc.record({
      by: fc.constant('value' as const),
      value: fc.oneof(absurdNumber, fc.double({ min: -1e9, max: 1e9, noNaN: true })),
    }),
  },
)

const designs = ['A', 'A', 'A', 'B', 'B', 'F', 'F', 'N', 'X']
const serial = fc.oneof(
  { weight: 9, arbitrary: fc.nat(60) },
  { weight: 1, arbitrary: fc.constantFrom(900_001, 999_999) },
)
const text = fc.oneof(
  {
    weight: 40,
    arbitrary: fc
      .tuple(fc.constantFrom(...designs), fc.constantFrom('01', '02', '02', '02', '02', '03'), serial)
      .map(([design, print, number]) => `J/${design}/${print}/${String(number).padStart(6, '0')}`),
  },
  { weight: 3, arbitrary: fc.constant(null) },
  { weight: 1, arbitrary: fc.constant('K/Z/02/000001') },
  { weight: 1, arbitrary: hostileText },
  { weight: 1, arbitrary: longText },
)
const rare = <T>(arbitrary: fc.Arbitrary<T>): fc.Arbitrary<T | undefined> =>
  fc.oneof({ weight: 30, arbitrary: fc.constant(undefined) }, { weight: 1, arbitrary })
/** Mostly what fits, so that a sequence of many commands gets somewhere. */
const mostly = <T>(usual: fc.Arbitrary<T>, ...others: readonly fc.Arbitrary<T>[]): fc.Arbitrary<T> =>
  fc.oneof({ weight: 40, arbitrary: usual }, ...others.map((arbitrary) => ({ weight: 1, arbitrary })))

/** Absent values are absent keys, as in JSON. */
const defined = <T extends object>(value: T): T =>
  Object.fromEntries(Object.entries(value).filter(([, part]) => part !== undefined)) as T

const read = fc
  .record({
    cell: mostly(fc.constantFrom<unknown>(1, 2), fc.constantFrom<unknown>(null, 0, 3, 257, '1', 1.5)),
    lane: rare(fc.constantFrom<unknown>(1, 2, null, 9)),
    text,
    symbology: mostly(
      fc.constantFrom<unknown>(']Q1', ']Q1', undefined),
      hostileText,
      fc.constantFrom<unknown>('\ud800', ']\udc00', '', ']C1', ']Q3'),
    ),
    quality: rare(fc.oneof(fc.double({ min: 0, max: 1, noNaN: true }), absurdNumber)),
    extra: rare(fc.constant('x')),
  })
  .map(defined)

const bothCells = fc
  .tuple(text, text)
  .map(([one, two]) => [one, two].map((held, i) => ({ cell: i + 1, text: held, symbology: ']Q1', quality: 0.9 })))
const reads: fc.Arbitrary<readonly Record<string, unknown>[]> = fc.oneof(
  { weight: 12, arbitrary: bothCells },
  { weight: 2, arbitrary: fc.array(read, { maxLength: 4 }) },
)

const frame: fc.Arbitrary<FrameDraft> = fc.record({
  frame: frameNumber,
  position,
  reads,
  more: fc.record({ markSpacingMm: rare(fc.oneof(fc.constantFrom(60, 59.5, 0), absurdNumber)) }).map(defined),
})

const person = fc
  .record({
    by: mostly(fc.constant<unknown>('lead'), hostileText),
    why: mostly(fc.constant<unknown>('looked at it'), hostileText),
    second: rare(fc.oneof(fc.constantFrom<unknown>('QA', ' LEAD ', ''), hostileText)),
  })
  .map(defined)

/** Finished rolls and lane rolls: few names, so that they meet. */
const rollName = mostly(fc.constantFrom<unknown>('A', 'B', 'C', 'R1', 'R1-2', 'R1-3'), hostileText)
const someMm = fc.oneof(
  fc.constantFrom(0, 60, 90, 120, 150, 240, 600),
  fc.double({ min: -60, max: 1_500, noNaN: true }),
)
const anyLanes = fc.constantFrom<unknown>([1], [2], [1, 2], [2, 2], [3], [])
const bothLanes = fc
  .tuple(rollName, rollName)
  .map(([one, two]) => [one, two].map((roll, i) => ({ roll, lanes: [i + 1] })))

// What becomes of the web behind the stations, and what was recorded wrongly.
const finishing = fc.oneof(
  { weight: 6, arbitrary: fc.record({ event: fc.constant<unknown>('split'), roll: rollName, positionMm: someMm }) },
  { weight: 1, arbitrary: fc.record({ event: fc.constant<unknown>('partial'), roll: rollName, positionMm: someMm }) },
  {
    weight: 3,
    arbitrary: fc
      .record({
        event: fc.constant<unknown>('slit'),
        roll: mostly(rollName, fc.constant(undefined)),
        laneRolls: mostly<unknown>(
          bothLanes,
          fc.array(fc.record({ roll: rollName, lanes: anyLanes }), { maxLength: 3 }),
          fc.constant(undefined),
        ),
      })
      .map(defined),
  },
  { weight: 2, arbitrary: fc.record({ event: fc.constant<unknown>('rewind'), roll: rollName }) },
  {
    weight: 2,
    arbitrary: fc.record({ event: fc.constant<unknown>('cut-out'), positionMm: someMm, toPositionMm: someMm }),
  },
  {
    weight: 3,
    arbitrary: fc.record({ event: fc.constant<unknown>('void'), voids: fc.oneof(fc.nat(80), absurdNumber) }),
  },
)

const material = fc.oneof(
  {
    weight: 6,
    arbitrary: fc
      .record({
        event: fc.constantFrom<unknown>('splice', 'splice', 'cut-out', 're-thread', 'pitch-change'),
        positionMm: rare(fc.oneof(fc.constantFrom(0, 60, 600), absurdNumber)),
        frames: rare(fc.oneof(fc.nat(10), absurdNumber)),
        note: rare(hostileText),
        by: rare(hostileText),
      })
      .map(defined),
  },
  {
    weight: 3,
    arbitrary: fc
      .record({
        event: fc.constant<unknown>('foil'),
        station: mostly(fc.constantFrom<unknown>('foil', 'inkjet'), fc.constantFrom<unknown>(undefined, 'x')),
        foil: mostly(fc.constantFrom<unknown>('gold', 'gold', 'silver', undefined), hostileText),
        leftMm: rare(fc.constantFrom<unknown>(0, 2, 54, -1)),
        widthMm: rare(fc.constantFrom<unknown>(54, 52, 110, 0)),
      })
      .map(defined),
  },
  { weight: 6, arbitrary: finishing },
  { weight: 1, arbitrary: fc.dictionary(fc.constantFrom('event', 'foil', 'station', 'frames', 'roll'), hostileText) },
)

const report = fc.record({
  frame: mostly<FrameNumber>(fc.record({ by: fc.constant('back' as const), back: fc.nat(3) }), frameNumber),
  cell: mostly(fc.constantFrom<unknown>(1, 2), fc.constantFrom<unknown>(0, 3, 257, null)),
  laid: mostly(
    fc.constantFrom<unknown>('none', 'none', 'none', 'full', 'part', 'unknown'),
    fc.constantFrom<unknown>('maybe', null),
  ),
})

const frames = fc.record({
  do: fc.constant('frames' as const),
  frames: fc.array(frame, { minLength: 1, maxLength: 4 }),
  twice: fc.oneof({ weight: 4, arbitrary: fc.constant(false) }, { weight: 1, arbitrary: fc.constant(true) }),
})

const command: fc.Arbitrary<RunCommand> = fc.oneof(
  { weight: 24, arbitrary: frames },
  {
    weight: 3,
    arbitrary: fc.record({ do: fc.constant('capture' as const), frame: frameNumber, position, digest: fc.nat(3) }),
  },
  { weight: 4, arbitrary: fc.record({ do: fc.constant('picture' as const), back: fc.nat(3), reads }) },
  {
    weight: 8,
    arbitrary: fc.record({
      do: fc.constant('laid' as const),
      reports: fc.array(report, { minLength: 1, maxLength: 2 }),
    }),
  },
  { weight: 6, arbitrary: fc.record({ do: fc.constant('material' as const), body: material }) },
  {
    weight: 1,
    arbitrary: fc.record({
      do: fc.constant('ticket' as const),
      body: fc
        .tuple(
          person,
          mostly(fc.constantFrom<unknown>('T1', 'T2', 'T2', 'T3', 'none'), hostileText),
          rare(fc.constant(true)),
        )
        .map(([who, ticket, override]) => defined({ ...who, ticket, override })),
    }),
  },
  { weight: 4, arbitrary: fc.record({ do: fc.constant('again' as const), back: fc.nat(5) }) },
  {
    weight: 4,
    arbitrary: fc.record({
      do: fc.constant('back up' as const),
      frames: fc.integer({ min: 1, max: 8 }),
      offMm: mostly(fc.constant(0), fc.double({ min: -20, max: 20, noNaN: true })),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      do: fc.constant('act' as const),
      act: fc.constantFrom('proving', 'proving', 'proving', 'proving', 'close', 'seal', 'abort'),
      body: person,
    }),
  },
  {
    weight: 5,
    arbitrary: fc.record({
      do: fc.constant('prove' as const),
      body: fc
        .tuple(
          person,
          mostly(fc.constant<unknown>([1, 2]), fc.constantFrom<unknown>([1], [2, 2], [1, 2, 3], [], 'x')),
          rare(fc.array(fc.record({ lane: fc.nat(3), frame: fc.nat(30), cell: fc.nat(3) }), { maxLength: 2 })),
        )
        .map(([who, lanes, compared]) => defined({ ...who, lanes, compared })),
    }),
  },
  {
    weight: 5,
    arbitrary: fc.record({
      do: fc.constant('clear' as const),
      open: fc.nat(2),
      body: fc
        .tuple(person, fc.constantFrom<unknown>('resume', 'skip-rest'), rare(fc.oneof(hostileText, longText)))
        .map(([who, after, job]) => ({
          ...who,
          after,
          ...(job === undefined ? {} : { cause: { flag: 'other-job', job } }),
        })),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      do: fc.constant('withdraw' as const),
      design: fc.constantFrom('A', 'B', 'F'),
      version: fc.constantFrom(1, 2),
    }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      do: fc.constant('condition' as const),
      design: fc.constantFrom('A', 'B'),
      condition: fc.constantFrom('missing', 'damaged', 'sound'),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      do: fc.constant('poll' as const),
      after: fc.integer({ min: -1, max: 50 }),
      count: fc.integer({ min: 1, max: 5_000 }),
    }),
  },
  { weight: 1, arbitrary: fc.constant<RunCommand>({ do: 'restart' }) },
)

export const runCommands = fc.array(command, { minLength: 1, maxLength: 30, size: 'max' })
