// An example of a line controller, in under a hundred lines. The machine is at the other end of stdin and stdout, a line of JSON for each
// event and command: put your own inputs and outputs there. No safety function: stops, guards and interlocks work without it.
//
//   node dist/demo-jobs/line/controller.js http://127.0.0.1:7070 RUN [NAME]      with the key, if any, in ROLLCALL_KEY
//
//   in:  {"mark": {"frame": 1, "positionMm": 30.02, "reads": [{"cell": 1, "text": "…"}]}}    an eye mark came by, with what was read
//        {"encoderMm": 41.5}                                                                where the web is, as often as possible
//        {"laid": {"frame": 1, "cell": 1, "laid": "full"}}                                  what the stations did: full, part, none, unknown
//        {"rethreaded": true}                                                               the encoder begins anew
//   out: {"do": "lay", "frame": 1, "cell": 1, "rotateDeg": 0, "layers": […]}                at the label's point of no return
//        {"do": "skip", "frame": 1, "cell": 2, "because": "no-answer"}
//        {"do": "stop", "causes": […]}, {"do": "run"}                                       stop the web; a person let it go on
//        {"do": "fetch", "layers": ["<digest>", …]}                                         have these files at hand; lays nothing
import { createInterface } from 'node:readline'
import { type DueLabel, type FrameEvent, type LaidReport, type LineState, openLine } from 'rollcall/client'

type FromMachine =
  | { readonly mark: FrameEvent }
  | { readonly encoderMm: number }
  | { readonly laid: LaidReport }
  | { readonly rethreaded: true }

const [url, runId, controller = 'example'] = process.argv.slice(2)
if (url === undefined || runId === undefined) {
  process.stderr.write('usage: controller URL RUN [NAME]\n')
  process.exit(2)
}
const line = openLine({ url, runId, controller, key: process.env.ROLLCALL_KEY })

const command = (what: object): void => void process.stdout.write(`${JSON.stringify(what)}\n`)
const note = (what: unknown): void => void process.stderr.write(`${JSON.stringify(what)}\n`)

/** The one place where something is laid: without a valid answer in time it is skip. */
function due({ frame, cell, decision, because }: DueLabel): void {
  if (decision === 'skip') command({ do: 'skip', frame, cell, because })
  else command({ do: 'lay', frame, cell, rotateDeg: decision.rotateDeg, layers: decision.layers })
}

/** `GET /api/v1/layers/DIGEST` gives the file; it is checked by its digest, and asked for once. */
const known = new Set<string>()
function fetch(digests: readonly string[]): void {
  const layers = digests.filter((digest) => !known.has(digest))
  for (const digest of layers) known.add(digest)
  if (layers.length > 0) command({ do: 'fetch', layers })
}

let isStopped = false
function follow({ state, causes }: LineState): void {
  if (state === 'stopped') command({ do: 'stop', causes })
  else if (isStopped && state === 'open') command({ do: 'run' })
  isStopped = state === 'stopped'
}

line.onDue(due)
line.onState(follow)
line.onAnswer(({ layers }) => fetch(layers.map(({ digest }) => digest)))
line.onOutlook(({ labels }) => fetch(labels.flatMap(({ layers }) => layers)))
line.onProblem(note)
line.onConnection((status) => {
  note(status)
  if (status.state === 'ended' && status.because === 'refused') process.exitCode = 1
})

/** Frames and reports are kept and repeated by the client; a refusal is noted, and its labels are skipped. */
const under = new Set<Promise<unknown>>()
function keep(promise: Promise<unknown>): void {
  const drop = (): void => void under.delete(promise)
  under.add(promise)
  promise.then(drop, drop)
}

for await (const text of createInterface({ input: process.stdin })) {
  const event = JSON.parse(text) as FromMachine
  if ('mark' in event) keep(line.frames(event.mark))
  else if ('encoderMm' in event) line.position(event.encoderMm)
  else if ('laid' in event) keep(line.laid(event.laid))
  else line.rethreaded()
}
await Promise.allSettled(under)
await line.close()
