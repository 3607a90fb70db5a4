// The one table of refusals: a stable code with its HTTP status, title and whether a retry can help. HTTP, CLI, findings and
// workers all speak these codes. Append only; a retired code is never used again.

type Retry = 'never' | 'later' | 'after-mending'

interface ProblemKind {
  readonly status: number
  readonly title: string
  readonly retry: Retry
}

const kind = (status: number, title: string, retry: Retry = 'after-mending'): ProblemKind => ({ status, title, retry })

export const problemTable = {
  // requests
  'bad-request': kind(400, 'The request does not fit its schema'),
  'body-too-large': kind(413, 'The body is larger than the limit'),
  'body-not-json': kind(400, 'The body is not JSON'),
  'body-too-deep': kind(400, 'The JSON is nested deeper than the limit'),
  'wrong-media-type': kind(415, 'The body has a media type that this route does not take'),
  'not-found': kind(404, 'There is nothing under this name'),
  'method-not-allowed': kind(405, 'This route does not take that method'),
  'upgrade-required': kind(426, 'This address speaks WebSocket only'),
  'foreign-origin': kind(403, 'The request came from a page or host name that is not this server'),
  unauthorized: kind(401, 'No key was sent, or one that is not good'),
  forbidden: kind(403, 'The key is good, but not for this', 'never'),
  'too-many-tries': kind(429, 'Too many bad keys came from this address', 'later'),
  'range-not-satisfiable': kind(416, 'The range asked for lies outside the bytes'),
  internal: kind(500, 'A fault in Rollcall itself', 'later'),
  // packages
  'package-refused': kind(422, 'The package has findings and was not published'),
  'package-not-found': kind(404, 'No such package is published'),
  'package-number-not-higher': kind(409, 'The package number is not higher than the last one of the job'),
  'version-reused': kind(409, 'A published version number is used again with other content'),
  'manifest-missing': kind(422, 'The package has no job.json'),
  'manifest-not-json': kind(422, 'The manifest is not JSON'),
  'manifest-schema': kind(422, 'The manifest does not fit its schema'),
  'manifest-unknown-field': kind(422, 'The manifest has a field that the schema does not know'),
  'manifest-duplicate': kind(422, 'The manifest names the same thing twice'),
  'file-missing': kind(422, 'A file that the manifest lists is not in the package'),
  'file-extra': kind(422, 'The package holds a file that the manifest does not list'),
  'file-digest': kind(422, 'A file does not have the digest that the manifest states'),
  'file-path': kind(422, 'A path leaves the package or is not a plain file'),
  'file-changed': kind(409, 'A file changed while it was read', 'later'),
  'zip-bad': kind(422, 'The ZIP cannot be read'),
  'zip-too-large': kind(422, 'The ZIP unpacks to more than the limit'),
  'package-too-large': kind(422, 'The package is larger than the limit'),
  'image-format': kind(422, 'A layer file is neither PNG nor TIFF'),
  'image-unreadable': kind(422, 'A layer file cannot be decoded to its end'),
  'image-colour': kind(422, 'A layer file is not plain grayscale or bilevel'),
  'image-depth': kind(422, 'A layer file has a bit depth that is not allowed for its kind'),
  'image-pages': kind(422, 'A layer file holds more than one image'),
  'image-lossy': kind(422, 'A layer file is stored with a lossy compression'),
  'image-too-large': kind(422, 'A layer file claims more pixels than the limit'),
  'image-size': kind(422, 'A layer has another size than its place at the stated resolution'),
  'layer-out-of-place': kind(422, 'A layer reaches beyond its cell with bleed, or beyond the frame'),
  'cell-overlap': kind(422, 'Two cells overlap'),
  'cell-off-web': kind(422, 'A cell lies outside the frame'),
  'code-off-frame': kind(422, 'The place of a code lies outside the frame'),
  'art-over-code': kind(422, 'Artwork lies over a code or its quiet zone'),
  'art-over-eye-mark': kind(422, 'Artwork lies over the eye mark'),
  'template-syntax': kind(422, 'The template cannot be read'),
  'template-ambiguous': kind(422, 'The template can match one text in two ways'),
  'template-field': kind(422, 'The template has fields that this job cannot use'),
  'design-unmatchable': kind(422, 'No code that fits the rule can name this design'),
  'print-version-unmatchable': kind(422, 'No code that fits the rule can name this print version'),
  'gs1-rule': kind(422, 'The gs1 rule names application identifiers that no code can carry'),
  'table-header': kind(422, 'The first line of the code table does not name its columns'),
  'table-row': kind(422, 'A row of the code table cannot be read as CSV with the columns of its header'),
  'table-code': kind(422, 'A code of the table is empty, too long or cannot be indexed'),
  'table-value': kind(422, 'A value of the code table is empty, too long or out of range'),
  'table-duplicate': kind(422, 'The code table has the same code twice'),
  'table-encoding': kind(422, 'The code table is not sound text'),
  'table-mangled': kind(422, 'A spreadsheet has rounded long numbers of the code table'),
  'code-index-bad': kind(422, 'The code index is damaged or not one of this version'),
  'serials-bad': kind(422, 'The snapshot of serials is damaged or not one of this version'),
  // versions
  'version-not-found': kind(404, 'No such version is published'),
  'version-state': kind(409, 'The version is in a state that does not allow this'),
  // blobs
  'blob-not-found': kind(404, 'No blob has this digest'),
  'blob-damaged': kind(500, 'The stored bytes no longer match their digest', 'after-mending'),
  // codes and pictures
  'picture-unreadable': kind(422, 'The picture cannot be decoded'),
  'picture-too-large': kind(413, 'The picture has more pixels than the limit'),
  'capture-name': kind(422, 'The capture is not named with frame and position'),
  // lines and tickets
  'line-not-found': kind(404, 'No such line profile is stored'),
  'line-schema': kind(422, 'The line profile does not fit its schema'),
  'line-stations': kind(422, 'The stations of the line profile contradict one another'),
  'line-heights': kind(422, 'The heights of the line profile contradict one another'),
  'line-speed': kind(422, 'The speeds of the line profile contradict one another'),
  'line-charts': kind(422, 'The unwind charts of the line profile name something twice'),
  'line-winding': kind(422, 'The winding limits of the line profile contradict one another'),
  'ticket-not-found': kind(404, 'No such ticket is stored'),
  'ticket-schema': kind(422, 'The ticket does not fit its schema'),
  'ticket-material': kind(422, 'The sizes of the roll contradict one another'),
  'ticket-cells': kind(422, 'The ticket names cells that the frame does not have'),
  'ticket-reels': kind(422, 'The reels of the ticket do not fit the web or the shafts of the line'),
  'ticket-unwind': kind(422, 'No roll can run into the line as the ticket says'),
  'sequence-refused': kind(422, 'The sequence has findings and was not stored'),
  'sequence-header': kind(422, 'The first line of the sequence does not name its columns'),
  'sequence-row': kind(422, 'A row of the sequence cannot be read as CSV with the columns of its header'),
  'sequence-position': kind(422, 'A position of the sequence is no whole number, or falls'),
  'sequence-cell': kind(422, 'A cell of the sequence is unknown, or stands twice at its position'),
  'sequence-code': kind(422, 'A code of the sequence is empty or too long'),
  'sequence-encoding': kind(422, 'The sequence is not sound text'),
  'orientation-impossible': kind(422, 'No roll can run into the line as the ticket says'),
  'scenario-schema': kind(422, 'The scenario of a simulation does not fit its schema'),
  'scenario-truth': kind(422, 'No truth can be made for the simulated roll'),
  'not-ready': kind(409, 'The ticket has blockers; mend them, or override with name and reason'),
  // runs
  'run-not-found': kind(404, 'No such run exists'),
  'run-state': kind(409, 'The run is in a state that does not allow this'),
  'run-held-elsewhere': kind(409, 'Another process holds the run', 'later'),
  'frame-conflict': kind(409, 'The frame is already recorded with other reads or another position', 'never'),
  'frame-order': kind(409, 'The frame number is lower than the last one and was never recorded', 'never'),
  'frame-leap': kind(409, 'The frame number leaps further than its position allows'),
  'frame-on-rest': kind(409, 'The frame lies on web that was left, and is not run'),
  'cell-unknown': kind(422, 'The run has no such cell or lane'),
  'label-not-answered': kind(409, 'The label has no answer yet'),
  'controller-busy': kind(409, 'Another controller has the run', 'later'),
  'window-exceeded': kind(429, 'More was sent than may wait to be accepted', 'later'),
  'lanes-not-proved': kind(422, 'Not every lane was named as compared'),
  'cause-not-open': kind(409, 'No stop with this cause is open'),
  'laid-conflict': kind(409, 'The label already has another laid report', 'never'),
  'material-position': kind(422, 'A position lies outside what was run, or before what it must follow'),
  'material-not-voidable': kind(409, 'The event of the material cannot be voided'),
  'roll-name-taken': kind(409, 'Another roll of the run has this name'),
  'roll-unknown': kind(422, 'The run has no finished roll of this name, or none yet'),
  'slit-lanes': kind(422, 'The lane rolls of a slit do not hold every lane once'),
  'cut-out-overlap': kind(409, 'Part of this was taken out already'),
  'reel-place': kind(409, 'Another reel spans this place across the web, or none stands there'),
  'ticket-needs-new-run': kind(409, 'The next ticket differs in what a run cannot change; open a new run'),
  // ledger
  'ledger-unavailable': kind(503, 'The ledger cannot be written; nothing was answered', 'later'),
  'ledger-bad': kind(422, 'The ledger does not verify'),
  'checkpoint-bad': kind(422, 'The checkpoint cannot be read or is not signed by the key given'),
  'key-bad': kind(500, 'The signing key cannot be used'),
  // people
  'key-not-found': kind(404, 'No such key was ever made'),
  'by-differs': kind(403, 'The name is not that of the person whose key it is'),
  'second-person-needed': kind(403, 'This act needs a second person'),
  'second-person-same': kind(403, 'The second person is the first one, or has the same key'),
  // work queue
  'work-not-found': kind(404, 'No such work is known'),
  'work-state': kind(409, 'The work is in a state that does not allow this'),
  // data directory
  'data-in-use': kind(409, 'Another process uses the data directory', 'later'),
  'data-format': kind(409, 'The data directory was written by a newer Rollcall', 'never'),
  'data-full': kind(507, 'The disk is full', 'later'),
  'data-unusable': kind(500, 'The data directory cannot be used'),
  'outbox-full': kind(503, 'Too much waits to be sent to the line already', 'later'),
  'line-closed': kind(503, 'The connection to the line was given up', 'later'),
  'shutting-down': kind(503, 'Rollcall is shutting down', 'later'),
  'listen-beyond-loopback': kind(403, 'Listening beyond loopback needs an active key of role admin'),
  'port-in-use': kind(409, 'The port is taken or may not be used', 'later'),
  'config-bad': kind(422, 'The configuration does not fit its schema'),
  'server-unreachable': kind(503, 'The server in this data directory does not answer', 'later'),
  usage: kind(400, 'The command was called with arguments that it does not take'),
} as const satisfies Record<string, ProblemKind>

export type ProblemCode = keyof typeof problemTable

/** Where a problem lies and how far off it is. `pointer` is an RFC 6901 JSON pointer; `row` counts lines from 1. */
export interface ProblemPlace {
  readonly file?: string
  readonly pointer?: string
  readonly row?: number
  readonly measured?: string | number
  readonly limit?: string | number
}

/** One thing that is wrong with an input; a check returns all of them. */
export interface Finding extends ProblemPlace {
  readonly code: ProblemCode
  readonly message: string
}

/** What is refused may be a name of a million characters; its beginning tells a person as much. */
const textMax = 4_000
const cut = (text: string): string => (text.length > textMax ? `${text.slice(0, textMax)}…` : text)
const cutPlace = (place: ProblemPlace): ProblemPlace =>
  Object.fromEntries(Object.entries(place).map(([key, value]) => [key, typeof value === 'string' ? cut(value) : value]))

/** A refused operation. `detail` says what and where to a person; `findings` carries all causes where there are several. */
export class Problem extends Error {
  readonly code: ProblemCode
  readonly place: ProblemPlace
  readonly findings: readonly Finding[]

  constructor(code: ProblemCode, detail: string, place: ProblemPlace & { findings?: readonly Finding[] } = {}) {
    super(cut(detail))
    this.name = 'Problem'
    this.code = code
    const { findings, ...rest } = place
    this.place = cutPlace(rest)
    this.findings = findings ?? []
  }
}

/** RFC 9457 problem details of a `Problem`; the members beyond the standard ones are those of `ProblemPlace`. */
export interface ProblemDetails extends ProblemPlace {
  readonly type: string
  readonly title: string
  readonly status: number
  readonly code: ProblemCode
  readonly detail: string
  readonly retry: Retry
  readonly findings?: readonly Finding[]
}

/** Problem details (RFC 9457 §3.1); the `type` is a URI reference into the README's table of codes. */
export function toProblemDetails(problem: Problem): ProblemDetails {
  const row = problemTable[problem.code]
  return {
    type: `/api/v1/problems/${problem.code}`,
    title: row.title,
    status: row.status,
    code: problem.code,
    detail: problem.message,
    retry: row.retry,
    ...problem.place,
    ...(problem.findings.length > 0 ? { findings: problem.findings } : {}),
  }
}
