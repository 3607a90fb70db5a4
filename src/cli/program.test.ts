// The command line in this process, before a server that notes what it is asked: options, usage errors, help, what is sent.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { createServer, type Server as HttpServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import type { CliParts } from './command.ts'
import { runCli } from './program.ts'

let http: HttpServer
let url: string
let folder: string
let asked: { line: string; body: unknown }[]
let replies: Record<string, unknown>
let out: string
let err: string

beforeEach(async () => {
  asked = []
  replies = {}
  out = ''
  err = ''
  folder = await mkdtemp(path.join(tmpdir(), 'rollcall-cli-'))
  http = createServer((request, response) => {
    const chunks: Buffer[] = []
    request.on('data', (chunk) => chunks.push(chunk))
    request.on('end', () => {
      const text = Buffer.concat(chunks).toString()
      const line = `${request.method} ${request.url?.replace('/api/v1', '')}`
      asked.push({ line, body: text === '' ? undefined : JSON.parse(text) })
      response.setHeader('content-type', 'application/json')
      response.end(JSON.stringify(replies[line.split('?')[0]!] ?? view))
    })
  })
  await new Promise<void>((resolve) => http.listen(0, '127.0.0.1', resolve))
  url = `http://127.0.0.1:${(http.address() as AddressInfo).port}`
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    out += String(text)
    return true
  })
  vi.spyOn(process.stderr, 'write').mockImplementation((text) => {
    err += String(text)
    return true
  })
})
afterEach(async () => {
  vi.restoreAllMocks()
  http.closeAllConnections()
  await new Promise((resolve) => http.close(resolve))
  await rm(folder, { recursive: true, force: true })
})

const counts = { frames: 0, labels: 0, lay: 0, skip: 0, stop: 0, setup: 0, revoked: 0, flags: {} }
const names = { ticket: 'T', tickets: ['T'], roll: 'R', line: 'L' }
const view = { runId: 'T.1', state: 'open', ...names, lanes: [1, 2], pending: 0, lastFrame: -1, counts, causes: [] }

const parts: CliParts = {
  version: '9.8.7',
  start: async () => expect.unreachable('a server was told of'),
  demo: async () => 0,
}
const cli = (...argv: string[]) => runCli(['--url', url, ...argv], parts)

const commands = [
  ...[
    'check',
    'publish',
    'release',
    'withdraw',
    'jobs',
    'line',
    'ticket',
    'readiness',
    'orientation',
    'sums',
    'run',
    'runs',
    'proving',
    'prove',
  ],
  ...[
    'clear',
    'material',
    'set-up',
    'change-ticket',
    'finished',
    'make-good',
    'order',
    'pull-list',
    'reconcile',
    'roll',
    'close',
    'seal',
    'abort',
    'answers',
    'recalls',
    'report',
    'ledger',
    'checkpoint',
    'key',
    'trace',
    'verify',
  ],
  ...['serve', 'demo', 'work', 'read', 'readers', 'simulate', 'codes'],
]

describe('help', () => {
  it.each(commands)(
    'of %s says what it does, with an about for each option, and the options that all share',
    async (name) => {
      expect(await runCli([name, '--help'], parts)).toBe(0)
      expect(out).toContain(`Usage: rollcall ${name}`)
      for (const shared of ['--data <folder>', '--url <url>', '--json']) expect(out).toContain(shared)
      const bare = out.split('\n').filter((line) => /^ {2}(-\S.*>|<\S+>|\[\S+\])$/.test(line))
      expect(bare).toEqual([])
    },
  )

  it('lists every command and the cautions', async () => {
    expect(await runCli(['--help'], parts)).toBe(0)
    const listed = [...out.matchAll(/^ {2}([a-z][a-z-]*)[ [<]/gm)].map(([, name]) => name)
    expect(listed.filter((name) => name !== 'help').toSorted()).toEqual(commands.toSorted())
    expect(out).toContain('Rollcall is no safety function')
  })

  it('is what comes of no command, as a wrong call', async () => {
    expect(await runCli([], parts)).toBe(2)
    expect(err).toContain('Usage: rollcall')
  })
})

describe('the version', () => {
  it.each(['--version', '-V'])('is printed for %s by itself', async (flag) => {
    expect(await runCli([flag], parts)).toBe(0)
    expect(out).toBe('9.8.7\n')
  })

  it('of a design is never taken for a question about the program', async () => {
    replies['POST /jobs/J/designs/A/versions/3/withdraw'] = {
      outcome: 'withdrawn',
      runs: [{ runId: 'T.1', revoked: 2 }],
    }
    expect(await cli('withdraw', 'J', '--design', 'A', '--version', '3', '--by', 'Q', '--why', 'w', '--yes')).toBe(0)
    expect(asked).toEqual([{ line: 'POST /jobs/J/designs/A/versions/3/withdraw', body: { by: 'Q', why: 'w' } }])
    expect(out).toContain('J A version 3 withdrawn\n  run T.1: 2 answers revoked')
  })
})

describe('a wrong call', () => {
  const wrong: Record<string, readonly string[]> = {
    'an unknown command': ['chekc'],
    'an unknown option': ['jobs', '--colour'],
    'a missing argument': ['check'],
    'an argument too many': ['jobs', 'a', 'b'],
    'a missing option': ['publish', 'x'],
    'a release of nothing': ['release', 'J', '--by', 'b', '--why', 'w'],
    'a release of two things': ['release', 'J', '--package', '1', '--design', 'A', '--by', 'b', '--why', 'w'],
    'a package that is no number': ['release', 'J', '--package', 'x', '--by', 'b', '--why', 'w'],
    'version 0': ['release', 'J', '--design', 'A', '--version', '0', '--by', 'b', '--why', 'w'],
    'a recall without --yes': ['withdraw', 'J', '--design', 'A', '--version', '1', '--by', 'b', '--why', 'w'],
    'lanes that are no numbers': ['prove', 'T.1', '--by', 'b', '--lanes', '1,x'],
    'a cause that is no flag': ['clear', 'T.1', '--by', 'b', '--why', 'w', '--cause', 'x', '--after', 'resume'],
    'an unknown way on': ['clear', 'T.1', '--by', 'b', '--why', 'w', '--cause', 'late', '--after', 'x'],
    'an unknown event': ['material', 'T.1', '--by', 'b', '--event', 'x'],
    'a position that is no number': ['material', 'T.1', '--by', 'b', '--event', 'splice', '--position', 'x'],
    'a split without its place': ['material', 'T.1', '--by', 'b', '--event', 'split', '--roll', 'A'],
    'a rest without its place': ['material', 'T.1', '--by', 'b', '--event', 'partial', '--roll', 'A'],
    'an unknown format': ['report', 'T.1', '--format', 'doc'],
    'a PDF in another format': ['report', 'T.1', '--format', 'csv', '--pdf', 'k.pdf'],
    'a cursor below −1': ['answers', 'T.1', '--after', '-2'],
    'a limit that is too high': ['answers', 'T.1', '--limit', '5000'],
    'a frame that is no number': ['answers', 'T.1', '--frame', 'x'],
    'nothing to verify': ['verify'],
    'a key without a checkpoint': ['verify', 'T.1', '--public-key', 'k'],
    'a checkpoint without a key or a server': ['verify', '--ledger', 'l', '--checkpoint', 'c'],
    'a key of no role': ['key', 'create'],
    'a role that is none': ['key', 'create', '--role', 'boss'],
    'a key of role line without its line': ['key', 'create', '--role', 'line'],
    'a line for another role': ['key', 'create', '--role', 'qa', '--line', 'L7'],
    'an end that is no time': ['key', 'create', '--role', 'qa', '--expires', 'soon'],
    'an end in the past': ['key', 'create', '--role', 'qa', '--expires', '2020-01-01'],
    'an end that is no day': ['key', 'create', '--role', 'qa', '--expires', '2099-02-31x'],
    'nothing to revoke': ['key', 'revoke', '--yes'],
    'a revocation without --yes': ['key', 'revoke', 'abc'],
    'an unknown act on keys': ['key', 'lend'],
    'an argument too many for a list of keys': ['key', 'list', 'x'],
    'a key that no header can hold': ['jobs', '--key', 'a\nb'],
    'an unknown state of work': ['work', '--state', 'x'],
    'two acts on work': ['work', '--cancel', 'a', '--requeue', 'b'],
    'a port that is none': ['serve', '--port', '70000'],
    'a run without ticket': ['run', '--line', 'L', '--by', 'b'],
    'captures and reads at once': [
      'run',
      '--ticket',
      'T',
      '--line',
      'L',
      '--by',
      'b',
      '--captures',
      'c',
      '--reads',
      'r',
    ],
    'an override without reason': ['run', '--ticket', 'T', '--line', 'L', '--by', 'b', '--override'],
    'set-up frames that are none': ['run', '--ticket', 'T', '--line', 'L', '--by', 'b', '--setup', '0'],
    'an unknown reaction to stops': ['run', '--ticket', 'T', '--line', 'L', '--by', 'b', '--on-stop', 'x'],
  }
  it.each(Object.entries(wrong))('with %s ends with exit code 2 and asks the server for nothing', async (_, argv) => {
    expect(await cli(...argv)).toBe(2)
    expect(asked).toEqual([])
    expect(out).toBe('')
    expect(err).toMatch(/\S{5}/)
    expect(err).not.toContain('    at ')
  })

  it.each(Object.entries(wrong))('with %s is problem details and nothing else with --json', async (_, argv) => {
    expect(await cli(...argv, '--json')).toBe(2)
    expect(JSON.parse(err)).toMatchObject({ code: 'usage', status: 400, detail: expect.any(String) })
    expect(out).toBe('')
  })

  it('of a run that nobody could prove is refused before it opens', async () => {
    await writeFile(path.join(folder, 'r.csv'), 'frame,positionMm,text\n0,0,a\n')
    const argv = ['run', '--ticket', 'T', '--line', 'L', '--by', 'b', '--reads', path.join(folder, 'r.csv')]
    expect(process.stdin.isTTY).toBeFalsy()
    expect(await cli(...argv)).toBe(2)
    expect(err).toContain('--proved-by')
    expect(asked).toEqual([])
  })
})

describe('a named act', () => {
  it.each([
    [['proving', 'T.1', '--by', 'b'], { by: 'b' }],
    [['prove', 'T.1', '--by', 'b', '--lanes', '1, 2'], { by: 'b', lanes: [1, 2] }],
    [
      ['clear', 'T.1', '--by', 'b', '--why', 'w', '--cause', 'no-read', '--after', 'resume'],
      { by: 'b', why: 'w', cause: { flag: 'no-read' }, after: 'resume' },
    ],
    [
      ['clear', 'T.1', '--by', 'b', '--why', 'w', '--cause', 'other-job/J/A/0/1', '--after', 'skip-rest'],
      { by: 'b', why: 'w', cause: { flag: 'other-job', job: 'J', design: 'A', print: '0/1' }, after: 'skip-rest' },
    ],
    [
      ['material', 'T.1', '--by', 'b', '--event', 'splice', '--position', '-3.5', '--frames', '2', '--why', 'joint'],
      { by: 'b', event: 'splice', positionMm: -3.5, frames: 2, note: 'joint' },
    ],
    [
      ['material', 'T.1', '--by', 'b', '--event', 'foil', '--station', 'foil', '--foil', 'gold'],
      { by: 'b', event: 'foil', station: 'foil', foil: 'gold' },
    ],
    [['close', 'T.1', '--by', 'b', '--why', 'w'], { by: 'b', why: 'w' }],
    [['seal', 'T.1', '--by', 'b'], { by: 'b' }],
    [['abort', 'T.1', '--by', 'b', '--why', 'w'], { by: 'b', why: 'w' }],
  ])('%j is sent as it is meant', async (argv, body) => {
    expect(await cli(...argv)).toBe(0)
    expect(asked).toEqual([{ line: `POST /runs/T.1/${argv[0]}`, body }])
    expect(out).toContain('run T.1 is open')
  })

  it('shows a run with its stops and how to go on', async () => {
    const causes = [
      { cause: { flag: 'other-job', job: 'J', design: 'A' }, status: 'open', frame: 7, cell: 2 },
      { cause: { flag: 'no-read' }, status: 'skip-rest' },
    ]
    replies['GET /runs/T.1'] = { ...view, state: 'stopped', causes, counts: { ...counts, flags: { 'no-read': 3 } } }
    expect(await cli('runs', 'T.1')).toBe(0)
    expect(out.trimEnd().split('\n')).toEqual([
      'run T.1 is stopped: 0 frames, 0 labels: 0 lay, 0 skip, 0 stop (set-up 0, revoked 0)',
      '  ticket T, roll R, line L',
      '  flags: 3 no-read',
      '  stop open: other-job/J/A at frame 7, cell 2',
      '  look, then: rollcall clear T.1 --cause … --after resume or skip-rest',
    ])
  })
})

describe('lists', () => {
  it('say so when there is nothing, and are JSON with --json before or behind the command', async () => {
    replies['GET /jobs'] = { jobs: [] }
    replies['GET /runs'] = { runs: [] }
    expect(await cli('jobs')).toBe(0)
    expect(await cli('runs')).toBe(0)
    expect(out).toBe('No job is published yet.\nNo run was opened yet.\n')
    for (const argv of [
      ['--json', 'jobs'],
      ['jobs', '--json'],
    ]) {
      out = ''
      expect(await cli(...argv)).toBe(0)
      expect(JSON.parse(out)).toEqual([])
    }
  })

  it('of readiness put rows together that differ only in what they are about, and say what would mend them', async () => {
    const row = (design: string) => ({
      code: 'foil-not-threaded',
      ...{ job: 'J', design, version: 1, layer: 'mask', message: 'not on the shafts', mend: 'thread it' },
      labels: 1_000,
      examples: [{ position: 7, cell: 2, code: `J/${design}/01/000007` }],
    })
    const substrate = {
      code: 'substrate-not-allowed',
      job: 'J',
      message: 'not allowed',
      mend: 'take another',
      measured: 'kraft',
      limit: 'pp',
    }
    const result = { ready: false, blockers: [row('A'), row('B'), row('C'), substrate], warnings: [] }
    replies['POST /readiness'] = { id: 'readiness-1' }
    replies['GET /work/readiness-1'] = { state: 'done', progress: 1, progressNote: '', result }
    expect(await cli('readiness', '--ticket', 'T', '--line', 'L')).toBe(1)
    expect(out).toBe(
      [
        'Ticket T is not ready on L: 4 blockers.',
        'blocker foil-not-threaded J A v1 mask and 2 more, 3,000 labels: not on the shafts',
        '  such as: position 7 cell 2 J/A/01/000007',
        '  mend: thread it',
        'blocker substrate-not-allowed J: not allowed (is kraft, limit pp)',
        '  mend: take another',
        '',
      ].join('\n'),
    )
  })

  it('of a trace tell of ledgers that could not be searched', async () => {
    replies['GET /trace'] = { sightings: [], unreadable: [{ runId: 'T.2', detail: 'entry 5 is damaged' }] }
    expect(await cli('trace', 'x')).toBe(1)
    expect(out).toBe('No run saw this code.\nNot searched: T.2: entry 5 is damaged\n')
  })
})

describe('files', () => {
  it.each(['null', '7', '[]', '{}'])('of a line that are %s are refused by what they lack', async (text) => {
    const file = path.join(folder, 'line.json')
    await writeFile(file, text)
    expect(await cli('line', file)).toBe(1)
    expect(err).toBe(`rollcall: line-schema: the file names no line [${file} /line]\n`)
  })

  it('that are not there, or not JSON, are named', async () => {
    const file = path.join(folder, 'ticket.json')
    expect(await cli('ticket', file)).toBe(1)
    expect(err).toContain(`rollcall: not-found: there is no file ${file}`)
    await writeFile(file, '{')
    expect(await cli('ticket', file)).toBe(1)
    expect(err).toContain(`rollcall: body-not-json: not JSON`)
  })
})
