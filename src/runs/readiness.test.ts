// Readiness of stored tickets: over their sequences, worked out anew when anything changes and only then; runs keep what they opened with.
import { writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, line, openBench, publishedJobs, short, ticket } from '../../tests/fixtures/runs.ts'
import { sequenceText } from '../../tests/fixtures/sequences.ts'
import { systemClock } from '../kernel/clock.ts'
import { putLine, putSequence, putTicket } from '../lines/index.ts'
import { openFolderBlobs } from '../storage/index.ts'
import { openReadiness, type ReadinessDesk } from './readiness.ts'
import { openRecent } from './recent.ts'

let bench: Bench
let desk: ReadinessDesk
let store: { database: Bench['database']; clock: typeof systemClock }
/** How often the bytes of a sequence were opened. */
let opened: number
const names = { ticket: 'T1', line: 'L1' }

beforeEach(async () => {
  bench = await openBench()
  store = { database: bench.database, clock: systemClock }
  opened = 0
  const stored = await openFolderBlobs({
    folder: path.join(bench.folder, 'blobs'),
    temporary: path.join(bench.folder, 'temporary'),
  })
  const blobs = {
    condition: async (digest: Parameters<typeof stored.condition>[0]) =>
      bench.conditions.get(digest) ?? ('sound' as const),
    localFile: (digest: Parameters<typeof stored.condition>[0]) => {
      opened++
      return stored.localFile(digest)
    },
  }
  desk = openReadiness({ database: bench.database, blobs, catalogue: bench.catalogue })
  await putLine(store, line)
  const file = path.join(bench.folder, 'roll.csv')
  await writeFile(
    file,
    sequenceText([
      [code('A', 1), code('B', 2)],
      [code('N', 3), 'nobody'],
    ]),
  )
  const { sha256 } = await putSequence({ blobs: stored }, { path: file })
  await putTicket(store, ticket({ sequence: { sha256 } }))
})
afterEach(() => bench.close())

const codes = async () => (await desk.weigh(names)).blockers.map((row) => `${row.code} ${row.labels}`)

describe('readiness of a stored ticket', () => {
  it('goes through its sequence, and not again while nothing changed', async () => {
    expect(await codes()).toEqual(['version-not-released 1', 'unknown-code 1'])
    expect(await codes()).toEqual(['version-not-released 1', 'unknown-code 1'])
    expect(opened).toBe(1)
  })

  it('is weighed once for two who ask at the same time', async () => {
    const [one, other] = await Promise.all([desk.weigh(names), desk.weigh(names)])
    expect(one).toEqual(other)
    expect(opened).toBe(1)
  })

  it('is another one after a release, another ticket, another line or lost bytes, and says so beforehand', async () => {
    const revisions = [await desk.revision(names)]
    const changes: (() => unknown)[] = [
      () => bench.catalogue.change(publishedJobs().slice(0, 1)),
      () => putTicket(store, ticket({ expectedFrames: 9 })),
      () => putLine(store, { ...line, heightUmMax: 59 }),
      async () => {
        const { frozen } = await desk.weigh(names)
        bench.conditions.set(frozen.jobs[0]!.versions[0]!.layers[0]!.sha256 as never, 'missing')
      },
    ]
    for (const change of changes) {
      await change()
      revisions.push(await desk.revision(names))
      expect((await desk.weigh(names)).revision).toBe(revisions.at(-1))
    }
    expect(new Set(revisions).size).toBe(5)
  })

  it('tells who waits how far it is', async () => {
    const notes: string[] = []
    await desk.weigh(names, { progress: (share, note) => notes.push(`${share} ${note}`) })
    expect(notes.at(-1)).toBe('0.5 labels of the sequence')
  })

  it('can be broken off, and is then worked out by the next who asks', async () => {
    await expect(desk.weigh(names, { signal: AbortSignal.abort(new Error('enough')) })).rejects.toThrow('enough')
    expect(await codes()).toEqual(['version-not-released 1', 'unknown-code 1'])
  })

  it('is not broken off for one who waits by another who gives up', async () => {
    const both = [desk.weigh(names, { signal: AbortSignal.abort(new Error('enough')) }), desk.weigh(names)]
    const [one, other] = await Promise.allSettled(both)
    expect([one?.status, other?.status]).toEqual(['rejected', 'fulfilled'])
  })
})

describe('a run that was opened', () => {
  it('keeps the profile and the ticket that it opened with', async () => {
    const run = await bench.openProved()
    await putLine(store, { ...line, policy: { 'no-read': { decision: 'stop' } } })
    await putTicket(store, ticket({ pass: 2 }))
    expect(short((await run.frames([event(1, [code('A', 1), null])])).answers)).toEqual(['lay', 'skip no-read'])
    await bench.restart()
    const again = await bench.runs.get(run.runId)
    expect(short((await again.frames([event(2, [code('A', 2), null])])).answers)).toEqual(['lay', 'skip no-read'])
    expect([again.state.ticket.pass, again.state.line.policy]).toEqual([1, undefined])
  })
})

describe('recent results', () => {
  it('are kept, the oldest going first, and those turned down or failed not at all', async () => {
    const worked: string[] = []
    const recent = openRecent<string>(2)
    const ask = (key: string) =>
      recent.of(
        key,
        async () => {
          worked.push(key)
          if (key === 'fails') throw new Error('no')
          return key
        },
        (result) => result !== 'passing',
      )
    for (const key of ['a', 'b', 'a', 'c', 'a', 'b', 'passing', 'passing']) await ask(key)
    for (let i = 0; i < 2; i++) await expect(ask('fails')).rejects.toThrow('no')
    expect(worked).toEqual(['a', 'b', 'c', 'b', 'passing', 'passing', 'fails', 'fails'])
  })
})
