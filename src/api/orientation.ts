// The route of orientation: how a ticket's roll runs into a line, as data and words, or as a drawing.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import {
  freeze,
  getLine,
  getTicket,
  impossibleCodes,
  type Orientation,
  orientationOf,
  orientationSvg,
  orientationWords,
  rewound,
} from '../lines/index.ts'
import { roles } from '../people/index.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

const name = z.string().min(1).max(200)
const edge = z.enum(['top', 'bottom', 'left', 'right'])
const direction = z.enum(['as-printed', 'reversed'])

const travellingCellSchema = z
  .object({
    cell: z.int(),
    lane: z.int(),
    row: z.int(),
    rotateDeg: z.literal([0, 90, 180, 270]).meta({
      description: 'Clockwise turn of the artwork as it travels, the cell’s own included: that of answers.',
    }),
    lineLane: z.int().meta({ description: 'Place among the roll’s lanes from the left, looking along the travel.' }),
    arrives: z.int().meta({ description: 'Order under the sensor within the frame; cells side by side share one.' }),
    leftMm: z.number(),
    topMm: z.number().meta({ description: 'From the edge of the frame that leads, mm.' }),
    widthMm: z.number(),
    heightMm: z.number(),
  })
  .meta({ id: 'TravellingCell' })

const orientationSchema = z
  .discriminatedUnion('kind', [
    z.object({
      kind: z.literal('possible'),
      frameTurnDeg: z.literal([0, 180]),
      direction,
      face: z.enum(['out', 'in']).optional().meta({ description: 'Absent where neither ticket nor line says it.' }),
      leadEdge: edge,
      lanesMirrored: z.boolean(),
      webWidthMm: z.number(),
      pitchMm: z.number(),
      cells: z.array(travellingCellSchema),
    }),
    z.object({ kind: z.literal('impossible'), code: z.enum(impossibleCodes), message: z.string() }),
  ])
  .meta({ id: 'Orientation' })

// The frame is that of the first of the ticket's jobs that is published; readiness refuses tickets whose jobs have several.
async function inquiryOf(parts: ApiParts, names: { ticket: string; line: string }) {
  const { content: ticket } = await getTicket(parts, names.ticket)
  const { content: line } = await getLine(parts, names.line)
  const frame = freeze(parts.catalogue.current(), ticket).jobs[0]?.frame
  if (!frame) {
    const jobs = ticket.jobs.map(({ job }) => job).join(', ')
    throw new Problem('package-not-found', `no package of ${jobs} is published; publish one to know the frame`)
  }
  return { ticket, line, frame }
}

type Inquiry = Awaited<ReturnType<typeof inquiryOf>>

const drawn = ({ ticket, line, frame }: Inquiry, orientation: Orientation): string =>
  orientationSvg({ orientation, frame, ticket: ticket.ticket, roll: ticket.roll, line: line.line })

function toldOf(orientation: Orientation, frameCells: number) {
  const { leadEdge, direction, lanesMirrored } = rewound(orientation)
  return {
    words: orientationWords(orientation, { frameCells }),
    rewoundOnce: { leadEdge, direction, lanesMirrored },
  }
}

export const orientationRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/lines/:line/orientation',
    tag: 'lines',
    summary: 'How a ticket’s roll runs into the line: lead edge, lanes, turn of every cell; as JSON or as a drawing',
    roles,
    params: z.object({ line: name }),
    query: z.object({
      ticket: name,
      format: z.enum(['json', 'svg']).optional().meta({ description: 'Default: what Accept prefers, else JSON.' }),
    }),
    returns: [
      {
        status: 200,
        description: 'How it runs, or why no roll can run so',
        schema: z.object({
          ticket: z.string(),
          roll: z.string(),
          line: z.string(),
          orientation: orientationSchema,
          words: z.array(z.string()).meta({ description: 'What a person checks at the unwinder.' }),
          rewoundOnce: z
            .object({ leadEdge: edge, direction, lanesMirrored: z.boolean() })
            .optional()
            .meta({ description: 'What a ticket of another pass says of the roll when it was rewound once between.' }),
        }),
      },
      { status: 200, description: 'The roll on the unwinder and the first frame', mediaType: 'image/svg+xml' },
    ],
    problems: ['line-not-found', 'ticket-not-found', 'package-not-found', 'orientation-impossible'],
    async handle({ params, query, request }) {
      const inquiry = await inquiryOf(parts, { ticket: query.ticket, line: params.line })
      const orientation = orientationOf(inquiry)
      const preferred = request.accepts('application/json', 'image/svg+xml') === 'image/svg+xml' ? 'svg' : 'json'
      const headers = { vary: 'accept' }
      const isPossible = orientation.kind === 'possible'
      if ((query.format ?? preferred) === 'svg') {
        if (!isPossible)
          throw new Problem('orientation-impossible', orientation.message, { measured: orientation.code })
        return { text: drawn(inquiry, orientation), mediaType: 'image/svg+xml; charset=utf-8', headers }
      }
      const { ticket, line, frame } = inquiry
      const told = isPossible ? toldOf(orientation, frame.cells.length) : { words: [] }
      return { json: { ticket: ticket.ticket, roll: ticket.roll, line: line.line, orientation, ...told }, headers }
    },
  }),
]
