// What one label costs in memory: matching its code, deciding, recording in a ledger whose commits are free; and how that grows with
// the labels that a run holds already.

import { preserves } from '../../demo-jobs/quillgarth-preserves/orders.ts'
import { compileTemplate } from '../../src/codes/index.ts'
import { sha256 } from '../../src/kernel/bytes.ts'
import { systemClock, systemRandom } from '../../src/kernel/clock.ts'
import { type EntryDraft, openLedgerWriter, type RunLedger } from '../../src/ledger/index.ts'
import { compileRule } from '../../src/packages/index.ts'
import { decideLabel } from '../../src/runs/decide.ts'
import type { Run } from '../../src/runs/index.ts'
import { openResolver } from '../../src/runs/resolve.ts'
import type { FrameRecord } from '../../src/runs/state.ts'
import { toFrameReads } from '../../src/runs/wire.ts'
import type { Bench, BenchTools } from './bench.ts'
import { cellCount, frameEvent, framesFrom, labelText } from './labels.ts'
import { growRun, openDemoHouse, openProvedRun, openRegistry, withFreeCommits } from './long-run.ts'
import { interleave, timed } from './rounds.ts'
import { type Row, timeRow } from './rows.ts'

const labelSizes = (quick: boolean): readonly number[] => (quick ? [1_000, 4_000, 16_000] : [10_000, 50_000, 200_000])
const roundsOf = ({ quick }: BenchTools) => ({ rounds: quick ? 2 : 4, warmUp: 1 })

/** Keeps what a loop works out, so that the compiler can't leave it out. */
let sink = 0

async function matchRow(tools: BenchTools): Promise<Row> {
  const rule = compileTemplate(preserves.template, { job: preserves.job, symbologies: ['qr'] })
  const pattern = new RegExp(`^${preserves.job}/(?<design>[^/]+)/(?<print>[^/]{2})/(?<serial>[0-9]{6})$`, 'u')
  const texts = Array.from({ length: 20_000 }, (_, i) => labelText({ frame: i, cell: 1 }))
  const each = async (match: (text: string) => { serial?: string } | undefined): Promise<number> => {
    const ms = await timed(() => {
      for (const text of texts) sink += match(text)?.serial?.length ?? 0
    })
    return (1000 * ms) / texts.length
  }
  const figures = await interleave(roundsOf(tools), {
    template: () => each((text) => rule.match(text)),
    pattern: () => each((text) => pattern.exec(text)?.groups),
  })
  const against = [{ what: 'a plain RegExp', figures: figures.pattern }]
  return timeRow({ what: 'match a code against its template', unit: 'µs', figures: figures.template, against })
}

interface Sized {
  readonly labels: number
  readonly run: Run
  close(): Promise<void>
}

/** µs a label of deciding what comes next in the run, which is left as it is. */
async function decideOnce({ run }: Sized): Promise<number> {
  const { state } = run
  const ruled = state.frozen.jobs.map((job) => ({ job, rule: compileRule(job.code, { job: job.job, designs: [] }) }))
  const using = {
    resolver: openResolver(ruled, () => []),
    layerCondition: () => 'sound' as const,
    laidInOtherRun: () => false,
    differsFromEarlier: () => false,
  }
  const frames = framesFrom({ first: state.lastFrame + 1, count: 2_000 }, (frame) => {
    const event = frameEvent(frame)
    const positionUm = event.positionMm * 1000
    const record: FrameRecord = { frame, place: frame, positionUm, offPhase: false, entryIndex: state.nextIndex }
    return { frame: record, reads: toFrameReads(event) }
  })
  const ms = await timed(() => {
    for (const { frame, reads } of frames) {
      for (const [ordinal, cell] of state.cells.entries()) {
        sink += decideLabel(state, { frame, cell, ordinal, reads }, using).layers.length
      }
    }
  })
  return (1000 * ms) / (frames.length * cellCount)
}

/** µs a label from event to answer through the run, in batches, beyond the size that it was grown to. */
async function runOnce({ run }: Sized): Promise<number> {
  const before = run.state.counts.labels
  const ms = await timed(() => growRun(run, run.state.lastFrame + 1 + 512))
  return (1000 * ms) / (run.state.counts.labels - before)
}

const growthNote = 'each size is held against the smallest in the same round'

function sizedRows(what: string, sizes: readonly number[], figures: Readonly<Record<string, number[]>>): Row[] {
  const [smallest] = sizes
  return sizes.map((size) =>
    timeRow({
      what: `${what} ${size.toLocaleString('en-GB')}`,
      unit: 'µs',
      figures: figures[size] ?? [],
      against:
        size === smallest
          ? []
          : [{ what: `at ${smallest?.toLocaleString('en-GB')}`, figures: figures[`${smallest}`] ?? [] }],
      note: size === smallest ? growthNote : undefined,
    }),
  )
}

/** A run in a house of its own: in one house, the runs would carry one another's serials. */
async function openSized(labels: number, tools: BenchTools): Promise<Sized> {
  tools.tell(`a run of ${labels} labels`)
  const house = await openDemoHouse(await tools.folder('deciding'))
  const registry = openRegistry(house, withFreeCommits(house.database))
  const run = await openProvedRun(registry.runs)
  await growRun(run, labels / cellCount)
  const close = async (): Promise<void> => {
    await registry.close()
    await house.close()
  }
  return { labels, run, close }
}

async function runRows(tools: BenchTools): Promise<readonly Row[]> {
  const sizes = labelSizes(tools.quick)
  const sized: Sized[] = []
  for (const labels of sizes) sized.push(await openSized(labels, tools))
  const bySize = (once: (of: Sized) => Promise<number>) =>
    Object.fromEntries(sized.map((of) => [`${of.labels}`, () => once(of)]))
  const deciding = await interleave(roundsOf(tools), bySize(decideOnce))
  const running = await interleave(roundsOf(tools), bySize(runOnce))
  if (sized.some(({ run }) => run.state.counts.skip + run.state.counts.stop > 0)) throw new Error('not all laid')
  for (const { close } of sized) await close()
  return [
    ...sizedRows('resolve and decide a label, run of', sizes, deciding),
    ...sizedRows('a label from event to answer with free commits, run of', sizes, running),
  ]
}

const answerDraft = (index: number): EntryDraft & { type: 'answer' } => ({
  type: 'answer',
  body: {
    frame: index >> 2,
    place: index >> 2,
    cell: 1 + (index & 3),
    decision: 'lay',
    flags: [],
    identity: {
      job: preserves.job,
      design: 'QUINCE-EN',
      text: labelText({ frame: index >> 2, cell: 1 }),
      print: '01',
      serial: String(index % 1e6).padStart(6, '0'),
      version: 1,
    },
    layers: (['foil', 'inkjet'] as const).map((station, i) => ({
      digest: station === 'foil' ? '0a'.repeat(32) : '5f'.repeat(32),
      layer: station === 'foil' ? 'gold' : 'relief',
      station,
      order: i + 1,
      scope: 'cell',
      placement: { leftUm: 2_000, topUm: 2_000, widthUm: 44_000, heightUm: 50_000 },
    })),
    rotateDeg: 0,
    noReturnUm: (index >> 2) * 60_000 + 3_483_000,
  },
})

/** µs an entry of appending answers, 160 a commit as in batches of 32 frames. */
async function appendOnce(ledger: RunLedger, count: number): Promise<number> {
  const drafts = Array.from({ length: count }, (_, i) => answerDraft(ledger.nextIndex + i))
  const ms = await timed(async () => {
    for (let at = 0; at < count; at += 160) {
      let durable: Promise<unknown> = Promise.resolve()
      for (const draft of drafts.slice(at, at + 160)) durable = ledger.append([draft]).durable
      await durable
    }
  })
  return (1000 * ms) / count
}

async function hashOnce(count: number): Promise<number> {
  const drafts = Array.from({ length: count }, (_, i) => answerDraft(i))
  const ms = await timed(() => {
    for (const draft of drafts) sink += sha256(Buffer.from(JSON.stringify(draft))).length
  })
  return (1000 * ms) / count
}

async function appendRows(tools: BenchTools): Promise<readonly Row[]> {
  const database = {
    appendLedger: async () => undefined,
    readLedger: async () => [],
    ledgerHead: async () => undefined,
  }
  const writer = openLedgerWriter({ database, clock: systemClock, random: systemRandom })
  const count = tools.quick ? 1_600 : 8_000
  const sizes = labelSizes(tools.quick)
  const sides: Record<string, () => Promise<number>> = {}
  for (const size of sizes) {
    const ledger = await writer.open(`size-${size}`, 1)
    await appendOnce(ledger, size)
    sides[`${size}`] = () => appendOnce(ledger, count)
  }
  const figures: Readonly<Record<string, number[]>> = await interleave(roundsOf(tools), {
    ...sides,
    plain: () => hashOnce(count),
  })
  await writer.close()
  const [first, ...rest] = sizedRows('append an answer to a ledger with free commits, entries', sizes, figures)
  const [smallest] = sizes
  const plain = timeRow({
    what: first?.what ?? '',
    unit: 'µs',
    figures: figures[`${smallest}`] ?? [],
    against: [{ what: 'JSON.stringify and one SHA-256', figures: figures.plain ?? [] }],
    note: growthNote,
  })
  return [plain, ...rest]
}

export const benchDeciding: Bench = async (tools) => {
  const rows = [await matchRow(tools), ...(await runRows(tools)), ...(await appendRows(tools))]
  if (sink === 0) throw new Error('nothing was worked out')
  return rows
}
