// The roll record as PDF, read back by an independent reader (pdfium): what a person would read on its pages.
import { PDFiumLibrary } from '@hyzyla/pdfium'
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench } from '../../../../tests/fixtures/runs.ts'
import { until } from '../../../../tests/fixtures/server.ts'
import { sha256Hex } from '../../../kernel/bytes.ts'
import { openFolderBlobs } from '../../../storage/index.ts'
import type { Run } from '../../run.ts'
import { recordHtml } from '../record-html.ts'
import { openRollRecord, type RollRecord } from '../roll-record.ts'
import { type PdfExtras, recordPdf } from './record-pdf.ts'

let bench: Bench
afterEach(() => bench.close())

async function recordOf(run: Run): Promise<RollRecord> {
  const blobs = await openFolderBlobs({ folder: `${bench.folder}/blobs`, temporary: `${bench.folder}/temporary` })
  return openRollRecord({ database: bench.database, blobs }, run)
}

async function bytesOf(record: RollRecord, extras?: PdfExtras): Promise<Buffer> {
  const chunks: Uint8Array[] = []
  for await (const chunk of recordPdf(record, extras)) chunks.push(chunk)
  return Buffer.concat(chunks)
}

/** The text of each page; places where a line was broken are spaces. */
async function pagesOf(bytes: Buffer): Promise<readonly string[]> {
  const library = await PDFiumLibrary.init()
  const document = await library.loadDocument(bytes)
  const pages = [...document.pages()].map((page) => page.getText().replaceAll(/\s+/g, ' '))
  document.destroy()
  library.destroy()
  return pages
}

const names = ['Żaneta Łęcka', 'Ζωή Παπαδοπούλου', 'Юлия Щербакова', 'Đorđe Ćirić', 'Åse Ørsted']
const hostile = `\u202Eevil\u202C <script>alert(1)</script> \u0007 ${'W'.repeat(60)}`

async function eventfulRun(frames = 12, ticket = {}): Promise<Run> {
  bench = await openBench()
  const run = await bench.open({ ticket })
  await run.startProving({ by: names[0]! })
  await run.frames([event(0, [code('A', 900_001), code('B', 900_002)])])
  await run.prove({ by: names[1]!, lanes: [1, 2], why: 'both lanes lie well' })
  for (let frame = 1; frame <= frames; frame++) {
    await run.frames([event(frame, [code('A', frame), frame % 4 ? code('B', 100_000 + frame) : null])])
  }
  await run.material({ event: 'split', positionUm: 300_000, roll: 'F-one', by: names[2]! })
  await run.material({ event: 'splice', positionUm: 400_000, by: hostile, note: 'n'.repeat(1_900) })
  await run.close({ by: names[3]!, why: hostile })
  await run.seal({ by: names[4]! })
  // The registry notes the end, and keeps the run's serials, behind the seal.
  await until(async () => (await bench.runs.list())[0]?.state === 'sealed')
  return run
}

describe('the roll record as PDF', () => {
  it('has on every page its number of how many, the run, the seal and the whole root', async () => {
    const record = await recordOf(await eventfulRun(240))
    const { report } = record.gathered
    const pages = await pagesOf(await bytesOf(record))
    expect(pages.length).toBeGreaterThan(3)
    pages.forEach((text, i) => {
      expect(text).toContain(`page ${i + 1} of ${pages.length}`)
      expect(text).toContain(`Roll record ${report.runId} · roll R1 · sealed`)
      expect(text).toContain(`ledger of ${report.treeSize} entries, root ${report.root}`)
    })
  })

  it('says what was run, counted, laid, by whom it was proved, and how to verify it', async () => {
    const record = await recordOf(await eventfulRun())
    const text = (await pagesOf(await bytesOf(record))).join(' ')
    for (const part of [
      'Run T1.1',
      'J (job J)',
      'proved, to open: compared lanes 1, 2',
      'both lanes lie well',
      'J / A version 2',
      sha256Hex('A/2/varnish'),
      sha256Hex('B/1/varnish'),
      'roll F-one',
      'Roll R1-2',
      'no-read',
      'rollcall verify T1.1',
      'Rollcall is no safety function',
    ]) {
      expect(text).toContain(part)
    }
    expect(text).toMatch(/the run 26 21 3 2 0 0 0/)
    expect(text).not.toContain('Consumption')
    expect(text).not.toContain('Regulated')
  })

  it('keeps names in Polish, Greek, Cyrillic, Croatian and Norwegian as they are', async () => {
    const text = (await pagesOf(await bytesOf(await recordOf(await eventfulRun())))).join(' ')
    for (const name of names) expect(text).toContain(name)
  })

  it('shows characters that hide or reorder others as what they are, and long words within their columns', async () => {
    const text = (await pagesOf(await bytesOf(await recordOf(await eventfulRun())))).join(' ')
    expect(text).toContain('\\u{202E}evil\\u{202C}')
    expect(text).toContain('\\u{7}')
    expect(text).not.toMatch(/[\u202a-\u202e]/)
    // A word that is wider than its column goes on in the next line, none of it lost.
    expect(text.replaceAll(' ', '')).toContain('W'.repeat(60))
    expect(text).toContain('…')
  })

  it('sets consumption against the forecast where the sums are given', async () => {
    const record = await recordOf(await eventfulRun())
    const perLabel = [{ station: 'inkjet', fluid: 'varnish', ml: 0.5 }]
    const sums = {
      designs: [{ job: 'J', design: 'A', version: 2, perLabel }],
      stations: [{ station: 'inkjet', fluid: 'varnish', laidMl: 12, setUpMl: 1, purgeMl: 3 }],
    }
    const text = (await pagesOf(await bytesOf(record, { sums }))).join(' ')
    // 13 labels of A: 12 of the run and one of the set-up.
    expect(text).toContain('inkjet varnish 13 6.50 13.00 50.0 % 3.0')
    expect(text).toContain('10 labels were laid with versions that the sums do not know')
  })

  it('says beside its large numbers that the count of the ticket is short, and what would mend that', async () => {
    const record = await recordOf(await eventfulRun(12, { expectedFrames: 19 }))
    const said = 'Stated by ticket: 38 labels. In: 26; 12 less than stated. To mend that: record the frames'
    expect((await pagesOf(await bytesOf(record)))[0]?.split('of the sum')[1]).toMatch(new RegExp(`^ ${said}`))
    expect(await recordHtml(record)).toContain(`<p class="note">${said}`)
  })

  it('is the same bytes again for the same ledger', async () => {
    const record = await recordOf(await eventfulRun())
    expect((await bytesOf(record)).equals(await bytesOf(record))).toBe(true)
  })

  it('can be made of a run that saw no frame', async () => {
    bench = await openBench()
    const pages = await pagesOf(await bytesOf(await recordOf(await bench.open({ ticket: { regulated: true } }))))
    expect(pages.join(' ')).toContain('No frame was recorded.')
    expect(pages[0]).toContain('Regulated labels. This record shows evidence; it releases nothing.')
    expect(pages[0]).toContain('not sealed (ready)')
  })
})

describe('the roll record as a page, with its lists', () => {
  it('has reconciliation, rolls, pull list and releases, and nothing of what was written into it runs', async () => {
    const record = await recordOf(await eventfulRun())
    const page = await recordHtml(record)
    for (const heading of ['Reconciliation', 'Finished rolls', 'Pull list', 'To make again', 'Who released']) {
      expect(page).toContain(`<h2>${heading}`)
    }
    expect(page).toContain('&lt;script&gt;alert(1)&lt;/script&gt;')
    expect(page).not.toContain('<script')
    expect(page.replaceAll('src="data:image/png;base64,', '')).not.toMatch(/\b(src|href)\s*=|url\(|https?:/)
  })
})
