// The built command line as people call it: from a package to a verified record, against a running server and without one.
import { spawn } from 'node:child_process'
import { once } from 'node:events'
import { cp, mkdir, readdir, readFile, rm, writeFile } from 'node:fs/promises'
import path from 'node:path'
import Sqlite from 'better-sqlite3'
import { parse } from 'csv-parse/sync'
import { zipSync } from 'fflate'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { runCli } from '../../src/cli/index.ts'
import { code, lineProfile, pictureOf, ticketOf } from '../fixtures/live-run.ts'
import { draftFiles, plainDraft, writeDraft } from '../fixtures/packages.ts'
import { entryFile, type LiveServer, rollcall, startServer, temporaryFolder } from '../fixtures/server.ts'

let folder: string
let data: string
let server: LiveServer
const at = (name: string): string => path.join(folder, name)

interface Ended {
  readonly code: number
  readonly stdout: string
  readonly stderr: string
}

const argvOf = (line: string, rest: readonly string[]): string[] => [...line.split(' '), ...rest]

/** The built program, as a process of its own. The words of `line` and then `rest` are its arguments. */
const spawned = (line: string, ...rest: string[]): Promise<Ended> => rollcall(data, ...argvOf(line, rest))

/** The same command line in this process, for the many small calls: a process each would cost most of a second. */
async function cli(line: string, ...rest: string[]): Promise<Ended> {
  const said = { stdout: '', stderr: '' }
  const spies = (['stdout', 'stderr'] as const).map((name) =>
    vi.spyOn(process[name], 'write').mockImplementation((text) => {
      said[name] += typeof text === 'string' ? text : Buffer.from(text).toString()
      return true
    }),
  )
  const parts = { version: '', start: async () => expect.unreachable(), demo: async () => 0 }
  const exit = await runCli(['--url', server.url, ...argvOf(line, rest)], parts)
  for (const spy of spies) spy.mockRestore()
  return { code: exit, ...said }
}

function success({ code: exit, stdout, stderr }: Ended): string {
  expect(exit, stderr).toBe(0)
  return stdout
}
function refusal(exitCode: number, { code: exit, stdout, stderr }: Ended): string {
  expect([exit, stdout]).toEqual([exitCode, ''])
  expect(stderr).not.toMatch(/\n {4}at /)
  return stderr
}
const ok = async (line: string, ...rest: string[]): Promise<string> => success(await cli(line, ...rest))

beforeAll(async () => {
  folder = await temporaryFolder('cli')
  data = at('data')
  await writeDraft(at('package'), await plainDraft())
  await writeFile(at('package.zip'), zipSync(Object.fromEntries(draftFiles(await plainDraft()))))
  await writeDraft(at('spoiled'), await plainDraft())
  await writeFile(at('spoiled/LIME/relief.png'), 'no picture')
  await writeFile(at('spoiled/notes.txt'), 'x')
  await writeFile(at('line.json'), JSON.stringify(lineProfile()))
  await writeFile(at('ticket.json'), JSON.stringify(ticketOf('T7')))
  await writeFile(at('bad.json'), JSON.stringify({ ...ticketOf('T8'), foils: [], substrate: 'kraft' }))
  await mkdir(at('captures'))
  const texts = [0, 1, 2, 3, 4].map((i) => [code('LIME', 10 + i), i === 3 ? null : code('PLUM', 20 + i)])
  for (const [frame, pair] of texts.entries())
    await writeFile(at(`captures/00000${frame}_${frame * 30_000}.png`), await pictureOf(pair))
  server = await startServer({ dataFolder: data })
})
afterAll(async () => {
  await server.stop()
  await rm(folder, { recursive: true, force: true })
})

describe('prepress', () => {
  it('checks a package and sees what it would lay', async () => {
    expect(success(await spawned('check', at('package')))).toMatch(
      /^J7 package 1 "Invented fruit": no findings in 5 files, \d\.\d kB\.\n\ndesign +layer /,
    )
    expect(JSON.parse(await ok('check --json', at('package.zip')))).toMatchObject({ job: 'J7', findings: [] })
  })

  it('is shown all that is wrong with one', async () => {
    const text = refusal(1, await spawned('check', at('spoiled')))
    expect(text).toContain('rollcall: package-refused: package 1 of J7 has 2 findings')
    expect(text).toContain('  file-extra at notes.txt: ')
    expect(text).toContain('  file-digest at LIME/relief.png /designs/0/layers/0/sha256: ')
    const json = refusal(1, await cli('check --json', at('spoiled')))
    expect(JSON.parse(json)).toMatchObject({ code: 'package-refused', findings: [{}, {}] })
    expect(refusal(1, await cli('check', at('none')))).toContain('not-found')
    const manifest = await cli('publish --by Ann', at('package/job.json'))
    expect(refusal(2, manifest)).toContain('name the folder that job.json is in')
  })

  it('publishes a folder, then the same as a ZIP, which changes nothing', async () => {
    const first = success(await spawned('publish --by Ann', at('package')))
    expect(first).toContain('J7 package 1 published, 2 new versions, not released yet: rollcall release J7 --package 1')
    const again = await ok('publish --by Ann --release --why approved', at('package.zip'))
    expect(again).toContain('is published already; nothing changed, released')
    expect(await ok('jobs J7')).toMatch(/^LIME +1 +released +01, 02$/m)
  })
})

describe('the finishing lead', () => {
  it('stores line and ticket and asks whether they are ready', async () => {
    expect(success(await spawned('line', at('line.json')))).toBe('line L7 stored, revision 1\n')
    expect(await ok('ticket', at('ticket.json'))).toBe('ticket T7 stored, revision 1\n')
    expect(await ok('ticket', at('bad.json'))).toBe('ticket T8 stored, revision 1\n')
    expect(JSON.parse(await ok('ticket T7'))).toMatchObject({ roll: 'T7-R1' })
    expect(await ok('readiness --ticket T7 --line L7')).toBe('Ticket T7 is ready on L7.\n')
    const bad = await spawned('readiness --ticket T8 --line L7')
    expect([bad.code, bad.stdout.match(/^blocker /gm)?.length, bad.stdout.match(/^ {2}mend: /gm)?.length]).toEqual([
      1, 2, 2,
    ])
    const run = await cli('run --ticket T8 --line L7 --by Lee')
    expect(refusal(1, run)).toContain('rollcall: not-ready: 3 blockers')
  })

  it('runs a folder of captures from set-up to seal', async () => {
    const feed = ['--captures', at('captures'), '--setup', '2', '--proved-by', 'Fay', '--seal']
    const shown = success(await spawned('run --ticket T7 --line L7 --by Lee', ...feed))
    expect(shown.split('\n').slice(0, 4)).toEqual([
      'run T7.1',
      'run T7.1 is sealed: 5 frames, 10 labels: 9 lay, 1 skip, 0 stop (set-up 4, revoked 0)',
      expect.stringMatching(/^ {2}ticket T7, roll \S+, line L7$/),
      '  flags: 1 no-read',
    ])
    expect(await ok('runs')).toMatch(/^T7\.1 +sealed +T7 +L7 /m)
  })

  const feed = () => ['--by', 'Lee', '--reads', at('reads.csv'), '--setup', '1', '--proved-by', 'Fay']

  it('runs a CSV of reads to a stop, looks, clears and goes on', async () => {
    const rows = [
      ...[0, 1].map((i) => `${i},${i * 30},1,${code('LIME', 100 + i)}\n${i},${i * 30},2,${code('PLUM', 200 + i)}`),
      `2,60,1,${code('LIME', 300, '09')}\n2,60,2,${code('PLUM', 202)}`,
      `3,90,1,${code('LIME', 301, '09')}\n3,90,2,`,
    ]
    await writeFile(at('reads.csv'), `frame,positionMm,cell,text\n${rows.join('\n')}\n`)
    const stopped = await spawned('run --ticket T7 --line L7 --on-stop end', ...feed())
    const stop = 'print-version-mismatch/J7/LIME/09 at frame 2, cell 1'
    expect([stopped.code, stopped.stdout]).toEqual([1, `run T7.2\nstop: ${stop}\n`])
    expect(stopped.stderr).toContain('go on with: rollcall run --resume T7.2')
    // Nobody sits at a terminal, so asking is ending too.
    expect((await spawned('run --resume T7.2', ...feed())).code).toBe(1)
    expect(await ok('runs T7.2')).toContain(`stop open: ${stop}`)
    const clear = 'clear T7.2 --cause print-version-mismatch/J7/LIME/09 --after skip-rest --by Lee --why looked'
    expect(success(await spawned(clear))).toContain('run T7.2 is open')
    expect(success(await spawned('run --resume T7.2', ...feed()))).toContain(
      'run T7.2 is open: 4 frames, 8 labels: 5 lay, 2 skip, 1 stop (set-up 2, revoked 0)',
    )
  })

  it('resumes at each stop where told to', async () => {
    const { code: exit, stdout } = await cli('--json run --ticket T7 --line L7 --on-stop resume', ...feed())
    expect(exit).toBe(0)
    expect(JSON.parse(stdout)).toMatchObject({ runId: 'T7.3', state: 'open', counts: { stop: 2 }, causes: [] })
  })

  it('names the row of a CSV that is wrong, and one that is not there', async () => {
    await writeFile(at('bad.csv'), 'frame,positionMm,text\n0,0,a\n1,x,b\n')
    expect(refusal(1, await spawned('run --resume T7.3 --by Lee --reads', at('bad.csv')))).toBe(
      `rollcall: bad-request: column positionMm is not a number [${at('bad.csv')} row 3] (is x)\n`,
    )
    expect(refusal(1, await spawned('run --resume T7.3 --by Lee --reads', at('none.csv')))).toContain('not-found')
  })

  it('recalls a version, and the runs that laid it revoke and stop', async () => {
    const recall = 'withdraw J7 --design PLUM --version 1 --by Q --why gloss'
    expect(refusal(2, await spawned(recall))).toContain('add --yes')
    const [head, ...runs] = success(await spawned(`${recall} --yes`))
      .trimEnd()
      .split('\n')
      .filter((line) => !line.startsWith('    '))
    expect(head).toBe('J7 PLUM version 1 withdrawn')
    expect(runs).toEqual([
      expect.stringMatching(/^ {2}run T7\.2: \d answers revoked;/),
      expect.stringMatching(/^ {2}run T7\.3: \d answers? revoked;/),
    ])
    expect(await ok('runs T7.3')).toContain('stop open: withdrawn/J7/PLUM')
    expect(await ok('recalls T7.3')).toMatch(
      /^J7 PLUM version 1, withdrawn by Q at .+: gloss\n\d labels? revoked in time, /,
    )
    expect(await ok('readers')).toContain('No readers are configured')
    expect(await ok('abort T7.3 --by Lee --why gloss')).toContain('run T7.3 is aborted')
    expect(refusal(1, await cli('seal T7.3 --by Lee'))).toContain('run-state')
  })
})

describe('QA', () => {
  it('has the record as JSON, CSV and a page, on standard output or in a file', async () => {
    expect(JSON.parse(await ok('report T7.1'))).toMatchObject({ runId: 'T7.1', lay: 9 })
    expect(parse(success(await spawned('report T7.1 --format csv')), { bom: true })).toHaveLength(11)
    const page = await ok('report T7.1 --format html --out', at('r.html'))
    expect(page).toContain('roll record of T7.1 written')
    expect(await readFile(at('r.html'), 'utf8')).toMatch(/^<!doctype html>/)
    expect(refusal(2, await cli('report T7.1 --out', at('none/r.json')))).toContain('cannot be written')
    expect(refusal(1, await cli('report none --out', at('none.json')))).toContain('run-not-found')
    expect((await readdir(folder)).filter((name) => /\.part$|^none/.test(name))).toEqual([])
  })

  it('has the record as PDF', async () => {
    expect(await ok('report T7.1 --pdf', at('r.pdf'))).toContain('roll record of T7.1 written')
    expect((await readFile(at('r.pdf'))).subarray(0, 5).toString()).toBe('%PDF-')
  })

  it('sees the finished rolls, reconciles them, and lists what to pull and what to make again', async () => {
    expect(await ok('finished T7.1')).toMatch(/^T7-R1 +all +0\.15 +10 +4 +0 +T7-R1 frames 0-4$/m)
    expect(await ok('reconcile T7.1')).toMatch(/^the run +10 +5 +1 +4 +0 +0 +0$/m)
    expect(await ok('pull-list T7.1')).toMatch(/^T7-R1 +0\.03 +0\.06 +0\.03 +2 +1 +no-read +J7-PLUM/m)
    expect(await ok('pull-list T7.1 --roll T7-R1 --rewound')).toMatch(/^T7-R1 +0\.09 +0\.12 .* 2 +1 +no-read/m)
    expect(refusal(1, await cli('pull-list T7.1 --roll F9'))).toContain('roll-unknown')
    await ok('pull-list T7.1 --csv', at('pull.csv'))
    const rows = parse(await readFile(at('pull.csv')), { bom: true, columns: true }) as Record<string, string>[]
    expect(rows.map((row) => [row.what, row.cells])).toEqual([
      ['lay, version withdrawn since', '2'],
      ['no-read', '2'],
      ['lay, version withdrawn since', '2'],
      ['made as set-up', '1 2'],
    ])
    expect(await ok('make-good T7.1 --csv', at('again.csv'))).toMatch(/^7 labels to make again: 6 by their code, 1 of/)
    expect(await readFile(at('again.csv'), 'utf8')).toMatch(/^\ufeffposition,cell,code\r\n0,1,J7-LIME/)
  })

  it('traces a code', async () => {
    expect(await ok('trace', code('LIME', 12))).toMatch(/^T7\.1 +T7-R1 +2 +1 +60 +lay /m)
    expect(await cli('trace nowhere')).toMatchObject({ code: 1, stdout: 'No run saw this code.\n' })
  })

  it('sees a roll across its passes', async () => {
    expect(await ok('roll')).toMatch(/^T7-R1 +1 +T7\.1, /m)
    const shown = await ok('roll T7-R1')
    expect(shown).toMatch(/^1 +T7\.1 +T7-R1 +T7 +sealed /m)
    expect(shown).toMatch(/^J7 +LIME +1 +\d+ /m)
    const { total, runs } = JSON.parse(await ok('roll T7-R1 --json'))
    expect(runs.map(({ runId }: { runId: string }) => runId)).toContain('T7.1')
    expect(total.labels).toBeGreaterThan(0)
    expect(refusal(1, await cli('roll none'))).toContain('not-found')
  })

  it('verifies a run against its heads, a checkpoint kept elsewhere, and the answers as they were received', async () => {
    await ok('checkpoint T7.2 --out', at('early.txt'))
    await ok('close T7.2 --by Lee')
    expect(await ok('seal T7.2 --by Lee')).toContain('keep a witness elsewhere: rollcall checkpoint T7.2')
    await ok('checkpoint T7.2 --out', at('late.txt'))
    await ok('answers T7.2 --out', at('answers.ndjson'))
    await writeFile(at('page.json'), await ok('answers T7.2 --json --limit 4096'))
    await writeFile(at('key.txt'), await ok('key'))
    expect(success(await spawned('verify T7.2'))).toMatch(
      /^T7\.2 verifies: \d+ entries, sealed, .*; agrees with \d+ committed heads\n$/,
    )
    // One from before the end holds as well: the ledger only grew.
    for (const checkpoint of ['early.txt', 'late.txt']) {
      const held = ['--checkpoint', at(checkpoint), '--public-key', at('key.txt'), '--answers', at('answers.ndjson')]
      expect(await ok('verify T7.2', ...held)).toMatch(/1 outside checkpoint, 8 received answers\n$/)
    }
    const json = JSON.parse(await ok('verify T7.2 --json --answers', at('page.json')))
    expect(json).toMatchObject({ ok: true, sealed: true, compared: { answers: 8 } })
  })

  it('sees an export that was edited or cut, by the checkpoint', async () => {
    await ok('ledger T7.2 --out', at('ledger.ndjson'))
    const lines = (await readFile(at('ledger.ndjson'), 'utf8')).trimEnd().split('\n')
    const verify = async (kept: readonly string[]) => {
      await writeFile(at('kept'), kept.map((line) => `${line}\n`).join(''))
      return spawned('verify --ledger', at('kept'), '--checkpoint', at('late.txt'), '--public-key', at('key.txt'))
    }
    expect((await verify(lines)).code).toBe(0)
    expect(await ok('verify --ledger', at('kept'))).toContain('held against nothing from elsewhere')
    const laid = lines.findIndex((line) => line.includes('"decision":"lay"'))
    const edited = lines.map((line, i) => (i === laid ? line.replace(/"serial":"\d+"/, '"serial":"999999"') : line))
    const broken = lines.map((line, i) => (i === 5 ? line.slice(1) : line))
    for (const [kept, word] of [
      [edited, 'rewritten'],
      [lines.slice(0, -1), 'cut'],
      [broken, 'entry 5 (not-canonical)'],
    ] as const) {
      const { code: exit, stdout } = await verify(kept)
      expect([exit, stdout]).toEqual([1, expect.stringContaining('does NOT verify')])
      expect(stdout).toContain(word)
    }
    await writeFile(at('kept'), '')
    expect(refusal(1, await cli('verify --ledger', at('kept')))).toContain('holds no entry')
  })

  it('is told of a wrong key, of answers that are none, and of those of another run', async () => {
    await writeFile(at('other-key.txt'), success(await rollcall(at('other-data'), 'key')))
    const verify = async (...argv: string[]) => refusal(1, await cli('verify T7.2', ...argv))
    const other = ['--checkpoint', at('late.txt'), '--public-key', at('other-key.txt')]
    expect(await verify(...other)).toContain('checkpoint-bad')
    expect(await verify('--checkpoint', at('key.txt'))).toContain('checkpoint-bad')
    const [first = ''] = (await readFile(at('answers.ndjson'), 'utf8')).split('\n')
    const answers = async (text: string) => {
      await writeFile(at('some-answers'), text)
      return cli('verify T7.2 --answers', at('some-answers'))
    }
    const bad = await answers(`${first}\n\n{"frame":0}\n`)
    expect(refusal(1, bad)).toContain(`answer 2 is none: /cell is missing (and 4 more) [${at('some-answers')} row 3]`)
    const foreign = await answers(first.replace('"T7.2"', '"T7.1"'))
    expect(refusal(1, foreign)).toContain('belongs to another run')
    const changed = await answers(first.replace('"decision":"lay"', '"decision":"skip"'))
    expect([changed.code, changed.stdout]).toEqual([1, expect.stringContaining('in decision')])
    expect(refusal(1, await answers('[1'))).toContain('body-not-json')
  })
})

describe('the server', () => {
  it('keeps others out of its directory, and its work can be seen', async () => {
    expect(refusal(1, await spawned('serve --port 0'))).toContain('data-in-use')
    const spoiled = refusal(1, await cli('publish --by Ann --json', at('spoiled')))
    expect(JSON.parse(spoiled).findings.map((row: { code: string }) => row.code)).toContain('package-number-not-higher')
    expect(await ok('work --kind publish')).toMatch(/^\d+ waiting, \d+ running, \d+ done, 1 dead/)
    expect(JSON.parse(await ok('work --state dead --json')).work).toHaveLength(1)
    expect(refusal(1, await cli('work --requeue none'))).toContain('work-not-found')
  })

  it('reads a loose picture for whoever asks', async () => {
    const picture = at('captures/000000_0.png')
    expect(success(await spawned('read', picture))).toContain(JSON.stringify(code('LIME', 10)))
    expect(JSON.parse(await ok('read --json', picture)).codes).toHaveLength(2)
    expect(refusal(1, await cli('read', at('none.png')))).toContain('not-found')
  })

  it('is found by its address too, and missed by a wrong one', async () => {
    const elsewhere = (url: string) => rollcall(at('never-made'), '--url', url, 'runs')
    expect(success(await elsewhere(`${server.url}/`))).toContain('T7.1')
    expect(refusal(1, await elsewhere('http://127.0.0.1:9'))).toContain('server-unreachable')
    expect(await readdir(folder)).not.toContain('never-made')
  })

  it('says where it serves, as JSON too, follows its configuration, and ends in order on a signal', async () => {
    await mkdir(at('configured'))
    await writeFile(at('configured/config.json'), JSON.stringify({ port: 0, logLevel: 'silent' }))
    for (const signal of ['SIGINT', 'SIGTERM'] as const) {
      const child = spawn(process.execPath, [entryFile, '--data', at('configured'), '--json', 'serve'])
      const [said] = (await once(child.stdout, 'data')) as [Buffer]
      const { url, dataFolder } = JSON.parse(said.toString())
      expect(dataFolder).toBe(at('configured'))
      expect((await fetch(`${url}/healthz`)).status).toBe(200)
      child.kill(signal)
      expect(await once(child, 'exit')).toEqual([0, null])
    }
  })

  it('tells of a port that is taken and of a bad configuration', async () => {
    const taken = await rollcall(at('second'), 'serve', '--port', new URL(server.url).port)
    expect(refusal(1, taken)).toContain('port-in-use')
    await writeFile(at('second/config.json'), '{"port":"x"}')
    expect(refusal(1, await rollcall(at('second'), 'jobs'))).toContain(`[${at('second/config.json')} /port]`)
  })

  it('lets a reader of its output go', async () => {
    const child = spawn(process.execPath, [entryFile, '--data', data, 'ledger', 'T7.2'])
    let complained = ''
    child.stderr.on('data', (text) => {
      complained += text
    })
    child.stdout.destroy()
    expect(await once(child, 'exit')).toEqual([0, null])
    expect(complained).toBe('')
  })
})

describe('without a server', () => {
  it('finds an entry that was edited in the database, and still shows the other runs', async () => {
    await server.stop()
    await cp(data, at('tampered'), { recursive: true })
    const database = new Sqlite(at('tampered/db/ledger.sqlite'))
    database.exec('drop trigger entriesNoupdate')
    const rows = database.prepare('select seq, bytes from entries').all() as { seq: number; bytes: Buffer }[]
    const target = rows.find(({ bytes }) => bytes.includes('"frame":3,') && bytes.includes('"decision":"skip"'))!
    const bytes = Buffer.from(target.bytes.toString().replace('"skip"', '"lay"'))
    database.prepare('update entries set bytes = ? where seq = ?').run(bytes, target.seq)
    database.close()
    const verify = (run: string) => rollcall(at('tampered'), 'verify', run)
    const [first, second] = [await verify('T7.1'), await verify('T7.2')]
    expect([first.code, second.code].toSorted()).toEqual([0, 1])
    expect(first.stdout + second.stdout).toMatch(/does NOT verify: entry \d+ \(leaf\)/)
    expect(success(await rollcall(at('tampered'), 'runs'))).toContain('T7.2')
    expect(success(await spawned('verify T7.2'))).toContain('T7.2 verifies')
  })

  it('serves several commands at once that each would hold the directory', async () => {
    const runs = await Promise.all([1, 2, 3].map(() => spawned('runs')))
    for (const run of runs) {
      expect(success(run)).toContain('T7.1')
      expect(run.stderr).toBe('')
    }
  })
})
