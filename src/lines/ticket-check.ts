// The check of a ticket: everything at once, what does not fit the schema and what the rest of it says that cannot be. With a line and
// the published jobs it is held against those as well; whether it may run now is the business of readiness.
import type { Finding, ProblemCode } from '../kernel/problem.ts'
import { schemaFindings } from '../kernel/schema-findings.ts'
import type { ManifestFrame } from '../packages/index.ts'
import { type Impossible, orientationOf } from './orientation/index.ts'
import type { LineProfile } from './profile.ts'
import { type ReelAt, reelFindings } from './reel-check.ts'
import { type SoundParts, soundParts, soundRows } from './sound-parts.ts'
import { type Ticket, ticketSchema } from './ticket.ts'

export interface TicketCheck {
  /** Only without findings. */
  readonly ticket?: Ticket
  readonly findings: readonly Finding[]
}

/** The codes of `checkTicket`'s findings. */
export const ticketCodes = [
  'ticket-schema',
  'ticket-material',
  'ticket-cells',
  'ticket-reels',
  'ticket-unwind',
] as const satisfies readonly ProblemCode[]

/** What a ticket is held against; what is absent is not looked at. */
export interface TicketSurroundings {
  readonly line?: LineProfile | undefined
  /** Frames of the published jobs. */
  readonly frameOf?: ((job: string) => ManifestFrame | undefined) | undefined
}

type Parts = SoundParts<Ticket>

/** Checks what is hoped to be a ticket; never throws. */
export function checkTicket(value: unknown, around: TicketSurroundings = {}): TicketCheck {
  const parsed = ticketSchema.safeParse(value)
  const ofSchema = parsed.success ? [] : schemaFindings(parsed.error, value, 'ticket-schema')
  const parts: Parts = parsed.success ? parsed.data : soundParts(ticketSchema, value)
  const rows = soundRows(ticketSchema.shape.foils.unwrap().element, (value as { foils?: unknown } | null)?.foils)
  const reels = rows.flatMap((reel, at): ReelAt[] => (reel ? [{ reel, at }] : []))
  const frame = frameOf(parts, around)
  const findings = [
    ...ofSchema,
    ...(parsed.success ? [] : unwindTwice(parts, ofSchema)),
    ...materialFindings(parts),
    ...cellFindings(parts, frame),
    ...reelFindings(reels, { line: around.line, webWidthMm: parts.material?.widthMm ?? frame?.webWidthMm }),
    ...unwindFindings(parts, around.line, frame),
  ]
  return parsed.success && findings.length === 0 ? { ticket: parsed.data, findings } : { findings }
}

const frameOf = ({ jobs }: Parts, around: TicketSurroundings): ManifestFrame | undefined =>
  jobs?.map(({ job }) => around.frameOf?.(job)).find((frame) => frame !== undefined)

// The schema looks at keys together only once each of them fits.
function unwindTwice({ unwind, leadEdge }: Parts, known: readonly Finding[]): Finding[] {
  if (!unwind || !leadEdge || known.some(({ pointer }) => pointer === '/unwind')) return []
  const message = 'a chart number stands for leadEdge; give one of the two'
  return [{ code: 'ticket-schema', message, pointer: '/unwind' }]
}

function materialFindings({ material = {} }: Parts): Finding[] {
  const { coreMm, coreOuterMm, diameterMm } = material
  const found: Finding[] = []
  if (coreMm !== undefined && coreOuterMm !== undefined && coreMm >= coreOuterMm) {
    const message = 'the core is as wide inside as outside, or wider, mm'
    found.push({
      code: 'ticket-material',
      message,
      pointer: '/material/coreMm',
      measured: coreMm,
      limit: coreOuterMm,
    })
  }
  const core = coreOuterMm ?? coreMm
  if (core !== undefined && diameterMm !== undefined && core >= diameterMm) {
    const message = 'the core is as large as the roll, or larger, mm'
    const pointer = coreOuterMm === undefined ? '/material/coreMm' : '/material/coreOuterMm'
    found.push({ code: 'ticket-material', message, pointer, measured: core, limit: diameterMm })
  }
  return found
}

function cellFindings({ cells = [] }: Parts, frame: ManifestFrame | undefined): Finding[] {
  if (!frame) return []
  const known = frame.cells.map(({ cell }) => cell)
  return cells.flatMap((cell, i): Finding[] => {
    if (known.includes(cell)) return []
    const message = 'the frame of the job has no such cell'
    return [{ code: 'ticket-cells', message, pointer: `/cells/${i}`, measured: cell, limit: known.join(', ') }]
  })
}

// Where no job is known, only what the line alone refuses counts; this stands in for its frame.
const anyFrame: ManifestFrame = {
  pitchMm: 1,
  webWidthMm: 1,
  cells: [{ cell: 1, lane: 1, row: 1, leftMm: 0, topMm: 0, widthMm: 1, heightMm: 1, rotateDeg: 0, bleedMm: 0 }],
  codeAt: { identifies: 'cell', from: 'cell', leftMm: 0, topMm: 0, widthMm: 1, heightMm: 1, quietMm: 0 },
  substrates: [],
}
const ofLineAlone = new Set<Impossible['code']>([
  'chart-unknown',
  'chart-number-unknown',
  'chart-contradicts-itself',
  'face-contradicts-chart',
  'runs-face-down',
])

const pointers: Partial<Record<Impossible['code'], string>> = {
  'face-contradicts-chart': '/material/face',
  'runs-face-down': '/material/face',
  'lead-edge-at-side': '/leadEdge',
  'lanes-contradict-turn': '/lanesMirrored',
}

function unwindFindings(parts: Parts, line: LineProfile | undefined, frame: ManifestFrame | undefined): Finding[] {
  if (!line) return []
  const { leadEdge, unwind, material, lanesMirrored, cells, direction = 'as-printed' } = parts
  const ticket = {
    direction,
    ...(leadEdge ? { leadEdge } : {}),
    ...(unwind ? { unwind } : {}),
    ...(material ? { material } : {}),
    ...(lanesMirrored === undefined ? {} : { lanesMirrored }),
    ...(cells && frame ? { cells } : {}),
  }
  const orientation = orientationOf({ ticket, line, frame: frame ?? anyFrame })
  if (orientation.kind === 'possible' || orientation.code === 'cell-not-in-frame') return []
  const { code, message } = orientation
  if (!frame && !ofLineAlone.has(code)) return []
  const pointer = unwind && code !== 'lanes-contradict-turn' ? '/unwind' : (pointers[code] ?? '/unwind')
  return [{ code: 'ticket-unwind', message, pointer, measured: code }]
}
