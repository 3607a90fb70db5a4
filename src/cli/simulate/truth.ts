// What truly stands on every label of the roll, as the press printed it: made from published jobs, or taken from a sequence.
import { Problem } from '../../kernel/problem.ts'
import type { SequenceLayout, Ticket } from '../../lines/index.ts'
import { chance } from './chance.ts'
import { type LabelCodes, openLabelCodes, type PrintedCode } from './label-codes.ts'
import { type JobView, type Own, openOwn } from './published.ts'
import type { Scenario } from './scenario.ts'

export interface TrueLabel extends PrintedCode {
  /** Undefined: nothing may be laid on it. */
  readonly own: Own | undefined
}

export interface Truth {
  /** A label of a printed frame, counted from 0 as the roll runs; undefined behind the end of a sequence. */
  labelAt(printed: number, cell: number): TrueLabel | undefined
  /** The well-formed code of another design, for a misread; undefined where there is none. */
  mistaken(printed: number, cell: number): PrintedCode | undefined
  /** A label of a job that is not on the ticket. */
  foreign(job: string, printed: number, cell: number): TrueLabel
}

export interface TruthParts {
  readonly scenario: Scenario
  readonly seed: number
  readonly ticket: Ticket
  readonly jobs: readonly JobView[]
  /** Jobs of other tickets that the scenario names. */
  readonly otherJobs: readonly JobView[]
  readonly layout: SequenceLayout
}

const salts = { design: 1, foreign: 2 } as const

interface Candidate {
  readonly codes: LabelCodes
  readonly own: Own
}

function printOf(design: JobView['designs'][number], wanted: string | undefined): string | undefined {
  const newest = design.versions.findLast(({ releasedAtMs }) => releasedAtMs !== undefined)
  return wanted ?? newest?.printVersions.at(-1)
}

/** Every design of the ticket's jobs that something may be laid on. Problem `scenario-truth` where there is none. */
function candidatesOf({ ticket, jobs }: TruthParts, print: string | undefined): readonly Candidate[] {
  const ownOf = openOwn(ticket, jobs)
  const found = jobs.flatMap((job) => {
    const row = ticket.jobs.find((one) => one.job === job.job)
    const codes = openLabelCodes(job)
    return job.designs.flatMap((design): Candidate[] => {
      const wanted = printOf(design, print ?? row?.printVersion)
      const own = wanted === undefined ? undefined : ownOf({ job: job.job, design: design.design, print: wanted })
      return own ? [{ codes, own }] : []
    })
  })
  if (found.length > 0) return found
  const what = print === undefined ? '' : ` for print version ${print}`
  throw new Problem('scenario-truth', `no design on ticket ${ticket.ticket} has a released version${what}`)
}

/** Labels that share a code have one number: each cell its own, the cells of a lane, or all of them. */
function groupsOf({ identifies, cells, lanes }: SequenceLayout): { of: (cell: number) => number; count: number } {
  if (identifies === 'frame') return { of: () => 0, count: 1 }
  if (identifies === 'lane')
    return { of: (cell) => lanes.findIndex((lane) => lane.includes(cell)), count: lanes.length }
  return { of: (cell) => cells.indexOf(cell), count: cells.length }
}

/** Frames of printed order that the roll can show at most. */
function printedMax({ roll, troubles }: Scenario): number {
  return troubles.reduce((sum, trouble) => sum + (trouble.kind === 'splice' ? trouble.framesCutOut : 0), roll.frames)
}

function codeFor({ codes, own }: Candidate, serial: number): PrintedCode {
  const print = codes.carries.print && own.print !== undefined ? { print: own.print } : {}
  return codes.write({ design: own.design, ...print, ...(codes.carries.serial ? { serial: String(serial) } : {}) })
}

function openForeign({ otherJobs, layout, seed }: TruthParts): Truth['foreign'] {
  const groups = groupsOf(layout)
  const opened = new Map(otherJobs.map((job) => [job.job, { job, codes: openLabelCodes(job) }]))
  return (name, printed, cell) => {
    const other = opened.get(name)
    const group = groups.of(cell)
    const designs = other?.job.designs ?? []
    const design = designs[Math.floor(chance(seed, salts.foreign, group, printed) * designs.length)]
    const print = other && design && printOf(design, undefined)
    if (!other || !design || print === undefined)
      throw new Problem('scenario-truth', `job ${name} is not published, or has no released version`)
    const own = { job: name, design: design.design, print, version: 0, digests: new Set<string>() }
    return { ...codeFor({ codes: other.codes, own }, printed * groups.count + group + 1), own: undefined }
  }
}

/** Codes made by the jobs' rules: designs in turn by the seed, each serial once. */
export function truthFromJobs(parts: TruthParts, how: Extract<Scenario['truth'], { from: 'jobs' }>): Truth {
  const { seed, layout, scenario } = parts
  const candidates = candidatesOf(parts, how.print)
  const groups = groupsOf(layout)
  const most = printedMax(scenario) * groups.count
  const indexAt = (printed: number, group: number): number =>
    Math.floor(chance(seed, salts.design, group, Math.floor(printed / how.blockFrames)) * candidates.length)
  const serialAt = (printed: number, group: number): number => how.firstSerial + printed * groups.count + group
  return {
    labelAt(printed, cell) {
      const group = groups.of(cell)
      const candidate = candidates[indexAt(printed, group)] as Candidate
      return { ...codeFor(candidate, serialAt(printed, group)), own: candidate.own }
    },
    mistaken(printed, cell) {
      const group = groups.of(cell)
      const index = indexAt(printed, group)
      const other = candidates.find(({ own }) => own.design !== candidates[index]?.own.design)
      return other && codeFor(other, serialAt(printed, group) + most)
    },
    foreign: openForeign(parts),
  }
}

/** Frames looked through for a code of another design. */
const lookAheadMax = 1_000

/**
 * What a sequence says; `rows` gives the texts of a printed frame by cell. Problem `scenario-truth` for a text that no job of the
 * ticket knows, once it is come to.
 */
export function truthFromSequence(parts: TruthParts, rows: readonly ReadonlyMap<number, string>[]): Truth {
  const { ticket, jobs } = parts
  const ownOf = openOwn(ticket, jobs)
  const ruled = jobs.map((job) => ({ job: job.job, codes: openLabelCodes(job) }))
  const frameAt = (printed: number): ReadonlyMap<number, string> | undefined =>
    rows[ticket.direction === 'reversed' ? rows.length - 1 - printed : printed]
  const labelAt = (printed: number, cell: number): TrueLabel | undefined => {
    const text = frameAt(printed)?.get(cell)
    if (text === undefined) return undefined
    for (const { job, codes } of ruled) {
      const named = codes.match(text, cell)
      if (!named) continue
      const { design, print, symbology } = named
      return { text, symbology, own: ownOf({ job, design, ...(print === undefined ? {} : { print }) }) }
    }
    throw new Problem('scenario-truth', `no job of ticket ${ticket.ticket} knows the code of cell ${cell}`, {
      measured: text,
    })
  }
  return {
    labelAt,
    mistaken(printed, cell) {
      const design = labelAt(printed, cell)?.own?.design
      for (let ahead = 1; ahead <= lookAheadMax; ahead++) {
        const other = labelAt(printed + ahead, cell)
        if (!other) return undefined
        if (other.own && other.own.design !== design) return other
      }
      return undefined
    },
    foreign: openForeign(parts),
  }
}
