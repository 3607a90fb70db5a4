// The command around orientation: what to check at the unwinder, in words, as a table of cells, and as a drawing.
import type { AddCommand } from './command.ts'
import { table } from './output.ts'
import { writeOut } from './write-out.ts'

interface Reply {
  readonly ticket: string
  readonly roll: string
  readonly line: string
  readonly words: readonly string[]
  readonly rewoundOnce?: { readonly leadEdge: string; readonly direction: string; readonly lanesMirrored: boolean }
  readonly orientation:
    | { readonly kind: 'possible'; readonly cells: readonly TravellingCell[] }
    | { readonly kind: 'impossible'; readonly code: string; readonly message: string }
}

interface TravellingCell {
  readonly cell: number
  readonly lane: number
  readonly row: number
  readonly lineLane: number
  readonly arrives: number
  readonly rotateDeg: number
}

const headings = ['cell', 'lane', 'row', 'from left', 'arrives', 'turned']

function textOf({ roll, line, words, orientation, rewoundOnce }: Reply): string {
  if (orientation.kind === 'impossible')
    return `Roll ${roll} cannot run on ${line} as its ticket says: ${orientation.code}: ${orientation.message}`
  const list = words.map((sentence, i) => `  ${i + 1}. ${sentence}`)
  const rows = orientation.cells.map((cell) => [
    cell.cell,
    cell.lane,
    cell.row,
    cell.lineLane,
    cell.arrives,
    `${cell.rotateDeg}°`,
  ])
  const next = rewoundOnce
    ? [
        `Rewound once, for another pass: leadEdge ${rewoundOnce.leadEdge}, direction ${rewoundOnce.direction}, lanesMirrored ${rewoundOnce.lanesMirrored}.`,
      ]
    : []
  return [`Roll ${roll} on ${line}; check at the unwinder:`, ...list, table(headings, rows), ...next].join('\n')
}

async function* once(text: string): AsyncIterable<string> {
  yield text
}

/** Adds `orientation`. */
export function orientationCommand(add: AddCommand): void {
  add<{ ticket: string; line: string; svg?: string }>(
    'orientation',
    'How the roll of a ticket runs into a line: what to check at the unwinder before threading',
    (command) =>
      command
        .requiredOption('--ticket <ticket>', 'name of a stored ticket')
        .requiredOption('--line <line>', 'name of a stored line')
        .option('--svg <file>', 'also write a drawing of the roll and its first frame'),
    ({ withServer, output }, { ticket, line, svg }) =>
      withServer(async (server) => {
        const target = `/lines/${encodeURIComponent(line)}/orientation`
        const found = await server.get<Reply>(`${target}?${new URLSearchParams({ ticket })}`)
        const isPossible = found.orientation.kind === 'possible'
        if (svg !== undefined && isPossible) {
          const query = new URLSearchParams({ ticket, format: 'svg' })
          await writeOut(svg, once(await server.text(`${target}?${query}`)))
          output.line(`drawing written to ${svg}`)
        }
        output.result(found, textOf(found))
        return isPossible ? 0 : 1
      }),
  )
}
