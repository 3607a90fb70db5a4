// The words of the trade that more than one folder needs, as types (DESIGN §2, §5, §6).

declare const brand: unique symbol
type Branded<Name extends string> = number & { readonly [brand]: Name }

/** Trigger ordinal of the line controller, from 0, never re-used. */
export type FrameIndex = Branded<'FrameIndex'>
/** Count of frames along the material, from 0; a backed-up web shows a place again. */
export type PlaceIndex = Branded<'PlaceIndex'>
/** Cell within the frame, from 1. */
export type CellNumber = Branded<'CellNumber'>
/** Lane across the web, from 1. */
export type LaneNumber = Branded<'LaneNumber'>

export const frameIndex = (n: number): FrameIndex => n as FrameIndex
export const placeIndex = (n: number): PlaceIndex => n as PlaceIndex
export const cellNumber = (n: number): CellNumber => n as CellNumber
export const laneNumber = (n: number): LaneNumber => n as LaneNumber

/** Decisions, from mildest to strictest. */
export const decisions = ['lay', 'skip', 'stop'] as const
export type Decision = (typeof decisions)[number]

export const flags = [
  'no-read',
  'inferred',
  'unknown-code',
  'other-job',
  'print-version-mismatch',
  'superseded',
  'withdrawn',
  'not-released',
  'missing-layer',
  'damaged-layer',
  'no-foil',
  'jumped',
  'out-of-sequence',
  'duplicate',
  'already-laid',
  'pass-mismatch',
  'low-quality',
  'late',
] as const
export type Flag = (typeof flags)[number]

export const stationKinds = ['flexo', 'inkjet', 'foil'] as const
export type StationKind = (typeof stationKinds)[number]

/** Symbologies that a job may name, with the ISO/IEC 15424 identifier letter of each. */
export const symbologyLetters = {
  qr: 'Q',
  'micro-qr': 'Q',
  'data-matrix': 'd',
  'code-128': 'C',
  'gs1-databar': 'e',
  aztec: 'z',
  'ean-upc': 'E',
} as const
export type SymbologyName = keyof typeof symbologyLetters

/** What a reader says of one place on the web; an absent text is a no-read. */
export interface Read {
  readonly cell?: CellNumber
  readonly lane?: LaneNumber
  readonly text?: string
  /** ISO/IEC 15424 symbology identifier, such as `]Q1`. */
  readonly symbology?: string
  /** Unused error correction, 0 to 1 (ISO/IEC 15415 UEC). */
  readonly quality?: number
}
