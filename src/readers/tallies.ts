// What is counted of readers: by port what came, by place what became of it. Counters only rise.

/** Of one port. */
export interface PortTally {
  /** Lines of either kind: codes and no-reads. */
  lines: number
  /** Lines that could not be read: not of the form, no text, too long, cut off. */
  garbage: number
  /** Lines that belong to no frame that awaited them. */
  stray: number
  connections: number
  /** Connections that a later one took the place of. */
  replaced: number
  /** Connections from another address than the one stated. */
  refused: number
}

/** Of one place: a lane, a cell or the frame. */
export interface PlaceTally {
  /** Codes that were joined to their frames. */
  read: number
  /** The reader itself said that it read nothing. */
  noRead: number
  /** Frames for which no line came in time. */
  missing: number
  /** Lines for a frame that was given up before. */
  late: number
  /** Second lines for one frame. */
  doubled: number
  /** Those of them that say something else: the label is skipped. */
  contradicting: number
  /** How far from their place lines came, mm: the last ones on average, with sign, and the farthest that was joined. */
  offMm: number
  offMmMax: number
}

export const openPortTally = (): PortTally => ({
  lines: 0,
  garbage: 0,
  stray: 0,
  connections: 0,
  replaced: 0,
  refused: 0,
})

export const openPlaceTally = (): PlaceTally => ({
  read: 0,
  noRead: 0,
  missing: 0,
  late: 0,
  doubled: 0,
  contradicting: 0,
  offMm: 0,
  offMmMax: 0,
})

/** Of the running mean: the last twenty or so lines count. */
const meanShare = 0.05

export function noteOff(tally: PlaceTally, offUm: number): void {
  const offMm = offUm / 1000
  const known = tally.read + tally.noRead
  tally.offMm += (offMm - tally.offMm) * Math.max(meanShare, 1 / (known + 1))
  tally.offMmMax = Math.max(tally.offMmMax, Math.abs(offMm))
}
