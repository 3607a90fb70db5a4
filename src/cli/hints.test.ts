// What commands add for a person: how to mend a refusal, where else to look, that a list leaves something out.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { type AskedServer, openAskedServer } from '../../tests/fixtures/asked-server.ts'

let server: AskedServer
beforeEach(async () => {
  server = await openAskedServer()
})
afterEach(() => server.close())

const words = (line: string): Promise<number> => server.cli(...line.split(' '))

describe('a ticket that is not ready', () => {
  const refusal = { code: 'not-ready', status: 409, detail: '1 blocker: nothing-released' }
  const how =
    'what would mend them: rollcall readiness --ticket T2 --line L7; or add --override and --why, in a person’s name'

  it('is refused to a run with the command that says what would mend it, and the way past', async () => {
    server.replies['POST /runs'] = refusal
    expect(await words('run --ticket T2 --line L7 --by Ann')).toBe(1)
    expect(server.written().err).toContain(`not-ready: 1 blocker: nothing-released; ${how}`)
  })

  it('is refused in the same words as the next ticket of a run, on the run’s own line', async () => {
    server.replies['POST /runs/R.1/ticket'] = refusal
    server.replies['GET /runs/R.1'] = { line: 'L7' }
    expect(await words('change-ticket R.1 T2 --by Ann --why next')).toBe(1)
    expect(server.written().err).toContain(how)
  })
})

describe('answers', () => {
  const answer = { frame: 1, place: 1, cell: 2, decision: 'skip' }
  it('tell where codes stand that no job knows', async () => {
    const unknown = { ...answer, flags: ['unknown-code'], identity: null }
    server.replies['GET /runs/R.1/answers'] = { answers: [unknown], revocations: [], cursor: -1 }
    await words('answers R.1')
    expect(server.written().out).toContain('codes that no job knows stand in: rollcall report R.1 --format csv')
  })

  it('need no such hint for labels without a code', async () => {
    const unread = { ...answer, flags: ['no-read'], identity: null }
    server.replies['GET /runs/R.1/answers'] = { answers: [unread], revocations: [], cursor: -1 }
    await words('answers R.1')
    expect(server.written().out).not.toContain('report')
  })
})

describe('readiness', () => {
  it('does not call a few drops nothing', async () => {
    const fluids = [0.05, 0.0034, 0, 12.34].map((ml) => ({ station: 'inkjet', fluid: 'varnish', ml }))
    const sums = { extent: { webM: 1 }, stations: fluids, reels: [], speed: {} }
    server.replies['POST /readiness'] = { id: 'w1' }
    const result = { ready: true, blockers: [], warnings: [], sums }
    server.replies['GET /work/w1'] = { state: 'done', progress: 1, progressNote: '', result }
    await words('readiness --ticket T --line L')
    const shown = [...server.written().out.matchAll(/([\d.]+) mL/g)].map(([, ml]) => ml)
    expect(shown).toEqual(['0.05', '0.0034', '0', '12.3'])
  })
})

describe('a run of reads', () => {
  let folder: string
  beforeEach(async () => {
    folder = await mkdtemp(path.join(tmpdir(), 'rollcall-cli-'))
    const cells = [1, 2].map((cell) => ({ cell, lane: cell }))
    server.replies['GET /lines/L/orientation'] = { orientation: { kind: 'possible', cells } }
  })
  afterEach(() => rm(folder, { recursive: true, force: true }))

  it.each([
    ['cell', 7],
    ['lane', 3],
  ])('is not opened where a read names %s %i, which the roll has not', async (what, number) => {
    const file = path.join(folder, 'r.csv')
    await writeFile(file, `frame,positionMm,${what},text\n0,0,1,a\n1,60,${number},b\n`)
    expect(await words(`run --ticket T --line L --by Ann --proved-by Ann --reads ${file}`)).toBe(1)
    expect(server.written().err).toContain(`cell-unknown: frame 1 has a read in ${what} ${number}`)
    expect(server.asked.map(({ line }) => line)).toEqual(['GET /lines/L/orientation?ticket=T'])
  })
})

describe('a key of role line', () => {
  it('is told by empty lists that it sees one line alone', async () => {
    server.replies['GET /runs'] = { runs: [], onlyLine: 'L7' }
    server.replies['GET /lines'] = { lines: [], onlyLine: 'L7' }
    await words('runs')
    await words('line list')
    expect(server.written().out).toBe(
      'No run was opened on line L7 yet; this key sees no other line.\nLine L7 is not stored yet; this key sees no other.\n',
    )
  })

  it('is made with a warning where no such line is stored', async () => {
    server.replies['POST /keys'] = { record: { id: 'a' }, key: 'rck-a-b' }
    server.replies['GET /lines'] = { lines: [{ line: 'weir-2' }] }
    expect(await words('key create --role line --line weri-2')).toBe(0)
    expect(server.written().out).toContain('No line weri-2 is stored')
    expect(await words('key create --role line --line weir-2')).toBe(0)
    expect(server.written().out).not.toContain('No line weir-2')
  })
})
