// Verifying a long ledger against hashing the same bytes with the same SHA-256: from memory, and from the database.
import { sha256 } from '../../src/kernel/bytes.ts'
import { storedLines, verifyLedger } from '../../src/ledger/index.ts'
import type { LedgerRow } from '../../src/storage/index.ts'
import type { Bench } from './bench.ts'
import { openHouse } from './long-run.ts'
import { interleave, timed } from './rounds.ts'
import { rateRow } from './rows.ts'

/** With five entries a frame, 210,000 entries. */
const verifyFrames = (quick: boolean): number => (quick ? 4_000 : 42_000)

export const benchVerify: Bench = async ({ quick, tell, longRun }) => {
  const { folder, runId } = await longRun(verifyFrames(quick))
  const { database, close } = await openHouse(folder)
  const lines: LedgerRow[] = []
  for (let page = await database.readLedger({ runId, from: 0, count: 10_000 }); page.length > 0; ) {
    lines.push(...page)
    page = await database.readLedger({ runId, from: lines.length, count: 10_000 })
  }
  const heads = await database.ledgerHeads(runId)
  const megabytes = lines.reduce((sum, { bytes }) => sum + bytes.length, 0) / 1e6
  tell(`${lines.length} entries, ${megabytes.toFixed(0)} MB`)
  const verify = async (input: Parameters<typeof verifyLedger>[0]['lines']): Promise<void> => {
    const result = await verifyLedger({ lines: input, sha256, runId, heads })
    if (!result.ok || result.entries !== lines.length) throw new Error(`does not verify: ${JSON.stringify(result)}`)
  }
  const rate = async (work: () => unknown): Promise<number> => (1000 * lines.length) / (await timed(work))
  const figures = await interleave(
    { rounds: quick ? 2 : 3, warmUp: quick ? 0 : 1 },
    {
      memory: () => rate(() => verify(lines)),
      hashing: () =>
        rate(() => {
          for (const { bytes } of lines) sha256(bytes)
        }),
      stored: () => rate(() => verify(storedLines(database, runId))),
    },
  )
  await close()
  const against = [{ what: 'hashing the same bytes', figures: figures.hashing }]
  const note = `${lines.length} entries of ${((megabytes * 1e6) / lines.length).toFixed(0)} bytes on average, held against ${heads.length} heads; the tree itself needs two hashes an entry`
  return [
    rateRow({ what: 'verify a ledger, lines in memory', unit: 'entries/s', figures: figures.memory, against, note }),
    rateRow({ what: 'verify a ledger out of SQLite', unit: 'entries/s', figures: figures.stored, against }),
  ]
}
