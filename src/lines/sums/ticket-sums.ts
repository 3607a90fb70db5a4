// The sums of a ticket on a line (DESIGN §7), put together from the formulas beside this file and the pixels of every layer.
import { Problem } from '../../kernel/problem.ts'
import type { Frozen, FrozenJob } from '../freeze.ts'
import type { LineProfile, LineStation } from '../profile.ts'
import type { Ticket } from '../ticket.ts'
import { fluidsOf, foilMm2Of, type Laid, reelsOf, stationsOf } from './consumption.ts'
import { type LayerSumOf, type ReadLayer, readVersion } from './layers-read.ts'
import { travelMinutes } from './minutes.ts'
import { peakInCell, peakOf, type Relief, stacked, upperOf } from './relief.ts'
import type {
  DesignSums,
  Extent,
  MinuteSums,
  ReelSums,
  RidgeSums,
  RollSums,
  TicketSums,
  UnreadLayer,
} from './result.ts'
import { ceilingOf, limitsOf } from './speed.ts'
import { cellsOnRoll, type LabelCount, type SpreadVersion, spreadVersions } from './spread.ts'
import { extentOf, waysOf } from './ways.ts'
import { addLayer, openProfile, ridgeOf, type WebProfile } from './web-profile.ts'
import { type WhatIf, withWhatIf } from './what-if.ts'
import { rollDiameterMm } from './winding.ts'

export interface SumInquiry {
  readonly ticket: Ticket
  readonly line: LineProfile
  /** Jobs of the ticket as they are now, or as a run froze them. */
  readonly frozen: Frozen
  /** Labels by version as the ticket's sequence names them; absent: spread evenly over the wanted versions, and said so. */
  readonly counts?: readonly LabelCount[]
  /** Frames of the sequence. */
  readonly framesExpected?: number
  readonly whatIf?: WhatIf
  readonly layerSums: LayerSumOf
}

interface Given extends SumInquiry {
  readonly job: FrozenJob
  readonly extent: Extent | undefined
  readonly unread: UnreadLayer[]
}

/** The rows of one version. */
type VersionRows = readonly [SpreadVersion, ...SpreadVersion[]]

function byVersion(spread: readonly SpreadVersion[]): readonly VersionRows[] {
  const rows = new Map<string, [SpreadVersion, ...SpreadVersion[]]>()
  for (const row of spread) {
    const key = `${row.job.job}\n${row.version.design}\n${row.version.version}`
    const known = rows.get(key)
    if (known) known.push(row)
    else rows.set(key, [row])
  }
  return [...rows.values()]
}

const isOnLabel = ({ layer }: ReadLayer): boolean => layer.scope === 'cell'

// What may lie on the frame beneath a label: layers of scope frame or common, of whatever version.
async function frameReliefOf(given: Given, versions: readonly VersionRows[]): Promise<Relief | undefined> {
  const reliefs = new Map<string, Relief>()
  for (const [row] of versions) {
    const own = row.version.layers.filter(({ scope }) => scope !== 'cell')
    const key = JSON.stringify(
      own.map(({ sha256, placement, heightUm, station }) => [sha256, placement, heightUm, station]),
    )
    if (own.length === 0 || reliefs.has(key)) continue
    // Lost layers are noted when the version itself is read.
    const read = await readVersion({ ...row, version: { ...row.version, layers: own } }, { ...given, unread: [] })
    const relief = stacked(read)
    if (relief) reliefs.set(key, relief)
  }
  return upperOf([...reliefs.values()])
}

function peakUmOf(layers: readonly ReadLayer[], rows: VersionRows, frame: Relief | undefined): number {
  const label = stacked(layers.filter(isOnLabel))
  const bare = Math.max(peakOf(label), peakOf(frame))
  if (!label || !frame) return bare
  const cells = rows.flatMap((row) => row.cells)
  return Math.max(bare, ...cells.map((cell) => peakInCell({ label, cell, frame })))
}

function addVersion(profile: WebProfile, layers: readonly ReadLayer[], rows: VersionRows, cellsPerFrame: number): void {
  for (const { perCell, perFrame, cells, job } of rows) {
    const { pitchMm } = job.frame
    for (const layer of layers) {
      if (!isOnLabel(layer)) addLayer(profile, { ...layer, weight: perFrame / cellsPerFrame, pitchMm })
      else for (const cell of cells) addLayer(profile, { ...layer, weight: perCell, pitchMm, cell })
    }
  }
}

function openWeb({ ticket, job }: Given): WebProfile {
  if (!ticket.cells) return openProfile({ leftMm: 0, widthMm: job.frame.webWidthMm })
  const cells = cellsOnRoll(job, ticket)
  const leftMm = Math.min(...cells.map((cell) => cell.leftMm))
  return openProfile({ leftMm, widthMm: Math.max(...cells.map((cell) => cell.leftMm + cell.widthMm)) - leftMm })
}

interface Surveyed {
  readonly designs: readonly DesignSums[]
  readonly laid: readonly Laid[]
  readonly profile: WebProfile
  readonly used: readonly LineStation[]
}

/** Versions whose layers are read ahead: enough to keep threads busy, few enough to hold. */
const aheadMax = 6

// The layers of each version, in order, read ahead by a few.
async function* readAhead(given: Given, versions: readonly VersionRows[]) {
  const read = async (rows: VersionRows) => {
    const unread: UnreadLayer[] = []
    const [{ job, version }] = rows
    return { rows, unread, layers: await readVersion({ job, version }, { ...given, unread }) }
  }
  const underWay: ReturnType<typeof read>[] = []
  const begin = (rows: VersionRows): void => {
    const reading = read(rows)
    // One that fails before its turn is heard of in its turn.
    reading.catch(() => undefined)
    underWay.push(reading)
  }
  for (const rows of versions) {
    begin(rows)
    if (underWay.length >= aheadMax) yield await (underWay.shift() as ReturnType<typeof read>)
  }
  while (underWay.length > 0) yield await (underWay.shift() as ReturnType<typeof read>)
}

async function survey(given: Given, versions: readonly VersionRows[]): Promise<Surveyed> {
  const { extent, job, ticket, line } = given
  const cellsPerFrame = cellsOnRoll(job, ticket).length
  const frame = await frameReliefOf(given, versions)
  const profile = openWeb(given)
  const designs: DesignSums[] = []
  const laid: Laid[] = []
  const used = new Set<LineStation>()
  for await (const { rows, layers, unread } of readAhead(given, versions)) {
    const [{ job: own, version }] = rows
    given.unread.push(...unread)
    addVersion(profile, layers, rows, cellsPerFrame)
    for (const { station } of layers) used.add(station)
    const perFrame = rows.reduce((sum, row) => sum + row.perFrame, 0)
    const perLabel = fluidsOf(layers, cellsPerFrame)
    const foilMm2 = foilMm2Of(layers, cellsPerFrame)
    laid.push({ perFrame, perLabel, foilMm2 })
    designs.push({
      job: own.job,
      design: version.design,
      version: version.version,
      ...(extent ? { labels: perFrame * extent.frames } : {}),
      peakUm: peakUmOf(layers, rows, frame),
      perLabel,
      foilMm2: Object.values(foilMm2).reduce((sum, mm2) => sum + mm2, 0),
    })
  }
  return { designs, laid, profile, used: line.stations.filter((station) => used.has(station)) }
}

function ridgeSums({ line }: Given, profile: WebProfile): RidgeSums {
  const { meanUmMax, meanUmMin, atMm } = ridgeOf(profile)
  const limit = line.rewind?.ridgeUmMax
  const differenceUm = meanUmMax - meanUmMin
  return { meanUmMax, atMm, differenceUm, ...(limit === undefined ? {} : { differenceUmMax: limit }) }
}

function rollSums({ ticket, line, extent }: Given, ridge: RidgeSums): RollSums | undefined {
  const { thicknessMm, material } = ticket
  if (thicknessMm === undefined) return undefined
  const core = material?.coreOuterMm
  const rewindCoreMm = line.rewind?.coreOuterMm ?? core
  const fromLength =
    extent && core !== undefined ? rollDiameterMm({ lengthM: extent.webM, coreOuterMm: core, thicknessMm }) : undefined
  const unwindMm = material?.diameterMm ?? fromLength
  const rewoundMm =
    extent && rewindCoreMm !== undefined
      ? rollDiameterMm({ lengthM: extent.webM, coreOuterMm: rewindCoreMm, thicknessMm, heightUm: ridge.meanUmMax })
      : undefined
  const known = {
    unwindMm,
    unwindFrom: unwindMm === undefined ? undefined : material?.diameterMm === undefined ? 'length' : 'ticket',
    unwindMmMax: line.unwind?.diameterMmMax,
    rewindCoreMm,
    rewoundMm,
    rewoundMmMax: line.rewind?.diameterMmMax,
  }
  const stated = Object.fromEntries(Object.entries(known).filter(([, value]) => value !== undefined))
  return { thicknessMm, ...(stated as Omit<RollSums, 'thicknessMm'>) }
}

function minuteSums(
  { line, extent }: Given,
  reels: readonly ReelSums[],
  mPerMin: number | undefined,
): MinuteSums | undefined {
  if (!extent || !mPerMin) return undefined
  const each = line.minutes ?? {}
  const changes = reels.reduce((sum, reel) => sum + (reel.reels ?? 1) - 1, 0)
  const { accelerationMPerS2 } = line.speed ?? {}
  // The web stands at the beginning, at the end, and for every change of a reel.
  const travel = travelMinutes({ lengthM: extent.webM, mPerMin, accelerationMPerS2, starts: 1 + changes })
  const parts = {
    setUp: each.setUp ?? 0,
    travel,
    reelChanges: changes * (each.reelChange ?? 0),
    rollChange: each.rollChange ?? 0,
  }
  return { mPerMin, ...parts, total: Object.values(parts).reduce((sum, minutes) => sum + minutes, 0) }
}

// No wish makes a line faster than it may run.
const runningMPerMin = (ceiling: number | undefined, wish: number | undefined): number | undefined =>
  ceiling === undefined || wish === undefined ? (wish ?? ceiling) : Math.min(ceiling, wish)

function open(inquiry: SumInquiry): Given {
  const [job] = inquiry.frozen.jobs
  if (!job) throw new Problem('package-not-found', 'no package of any job of the ticket is published')
  const { whatIf, framesExpected } = inquiry
  const given = { ...inquiry, ticket: withWhatIf(inquiry.ticket, whatIf), job, unread: [] }
  return { ...given, extent: extentOf(given, { whatIf: whatIf?.frames, sequence: framesExpected }) }
}

function spreadOf({ ticket, frozen, counts, framesExpected, job }: Given): readonly SpreadVersion[] {
  const labels = counts?.reduce((sum, count) => sum + count.labels, 0) ?? 0
  const frames = framesExpected ?? labels / cellsOnRoll(job, ticket).length
  return spreadVersions({ ticket, frozen, counts: frames > 0 ? counts : undefined, frames })
}

/**
 * Works out the sums of a ticket on a line. Pure but for `layerSums`. Without an extent (no frames expected, no length, no diameters)
 * what depends on the roll's length is absent. Problem `package-not-found` where no job of the ticket is published. Heights: the
 * summed peak is an upper bound, never below the true one; adhesive under foil counts with its cured coat, the foil itself does not.
 */
export async function sumTicket(inquiry: SumInquiry): Promise<TicketSums> {
  const given = open(inquiry)
  const { ticket, line, extent, counts, job, unread, whatIf } = given
  const { designs, laid, profile, used } = await survey(given, byVersion(spreadOf(given)))
  const highest = designs.reduce<DesignSums | undefined>((a, b) => (a && a.peakUm >= b.peakUm ? a : b), undefined)
  const ridge = ridgeSums(given, profile)
  const reels = extent ? reelsOf({ ticket, line, extent, laid, used, webWidthMm: job.frame.webWidthMm }) : []
  const ways = waysOf({ ticket, line, job, used })
  const { pitchMm } = job.frame
  const peakUm = highest?.peakUm ?? 0
  const usesFoil = used.some(({ nip }) => nip !== undefined)
  const speed = ceilingOf(limitsOf({ line, usesFoil, peakUm, pitchMm, moduleMm: ticket.moduleMm, ...ways }))
  const minutes = minuteSums(given, reels, runningMPerMin(speed.mPerMin, whatIf?.speedMPerMin))
  const roll = rollSums(given, ridge)
  return {
    ticket: ticket.ticket,
    line: line.line,
    ...(counts ? {} : { assumed: 'even' as const }),
    ...(extent ? { extent } : {}),
    designs,
    stations: extent ? stationsOf({ line, extent, laid, used }) : [],
    reels,
    peak:
      highest && peakUm > 0
        ? { um: peakUm, job: highest.job, design: highest.design, version: highest.version }
        : { um: 0 },
    ridge,
    speed,
    ...(whatIf?.speedMPerMin === undefined ? {} : { wishMPerMin: whatIf.speedMPerMin }),
    ...(roll ? { roll } : {}),
    ...(minutes ? { minutes } : {}),
    unread,
  }
}
