// `rollcall simulate` as people call it: the built program against a running server, its output, problems and exit codes.
import { readFile, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest'
import { demoFiles } from '../../demo-jobs/folders.ts'
import { runCli } from '../../src/cli/index.ts'
import { demand } from '../fixtures/live-run.ts'
import { type LiveServer, rollcall, startServer, temporaryFolder } from '../fixtures/server.ts'
import { lineName, scenarioFolder, ticketName } from '../fixtures/simulator.ts'

let folder: string
let data: string
let server: LiveServer
let serial = 1

const scenario = (name: string): string => path.join(scenarioFolder, name)

interface Ended {
  readonly code: number
  readonly stdout: string
  readonly stderr: string
}

function argvOf(file: string, args: readonly string[]): string[] {
  // What another run laid would be duplicates.
  serial += 1_000
  return ['simulate', file, '--by', 'L. Lead', '--first-serial', String(serial), '--flat-out', ...args]
}

/** The built program, as a process of its own. */
const spawned = (file: string, ...args: readonly string[]): Promise<Ended> => rollcall(data, ...argvOf(file, args))

/** The same command in this process: a process each costs seconds. */
async function simulateWith(file: string, ...args: readonly string[]): Promise<Ended> {
  const said = { stdout: '', stderr: '' }
  const spies = (['stdout', 'stderr'] as const).map((name) =>
    vi.spyOn(process[name], 'write').mockImplementation((text) => {
      said[name] += typeof text === 'string' ? text : Buffer.from(text).toString()
      return true
    }),
  )
  const parts = { version: '', start: async () => expect.unreachable(), demo: async () => 0 }
  const code = await runCli(['--url', server.url, ...argvOf(file, args)], parts)
  for (const spy of spies) spy.mockRestore()
  return { code, ...said }
}

const onTicket = ['--ticket', ticketName, '--line', lineName]
const people = ['--proved-by', 'L. Lead', '--on-stop', 'skip-rest']

beforeAll(async () => {
  folder = await temporaryFolder('simulate')
  data = path.join(folder, 'data')
  server = await startServer({ dataFolder: data })
  const order = { body: { path: demoFiles.firstPackage }, headers: { prefer: 'wait=60' } }
  await demand(server.ask('POST', '/packages?by=tester', order))
  await demand(server.ask('POST', '/packages/QG2608/1/release', { body: { by: 'tester', why: 'test' } }))
  const stored = async (file: string) => JSON.parse(await readFile(file, 'utf8'))
  await demand(server.ask('PUT', `/lines/${lineName}`, { body: await stored(demoFiles.line) }))
  await demand(server.ask('PUT', `/tickets/${ticketName}`, { body: await stored(demoFiles.ticket) }))
})
afterAll(() => server.stop())

describe('rollcall simulate', () => {
  it('opens a run on a ticket, prints the seed and says how the scenario ended', async () => {
    const { code, stdout } = await spawned(scenario('01-plain-roll.json'), ...onTicket, ...people)
    expect(stdout).toMatch(/^run T-2608-1\.\d+, seed 11\n/)
    expect(stdout).toContain('Lays: 0 wrong, 0 twice, 0 missed. Answers: 0 lost, 0 doubled, 0 late.')
    expect(stdout).toMatch(/It ended as the scenario says\.\n$/)
    expect(code).toBe(0)
  })

  it('takes a run that is open, under another seed, and gives JSON', async () => {
    const body = { ticket: ticketName, line: lineName, by: 'lead' }
    const { json: run } = await demand(server.ask('POST', '/runs', { body }))
    const args = ['--run', run.runId, '--seed', '77', '--json', ...people]
    const { code, stdout } = await simulateWith(scenario('01-plain-roll.json'), ...args)
    expect(JSON.parse(stdout)).toMatchObject({
      runId: run.runId,
      seed: 77,
      exitCode: 0,
      unmet: [],
      labels: { laid: 240 },
    })
    expect(code).toBe(0)
  })

  it('exits with 1 where a wrong layer was laid, and names the label', async () => {
    const { code, stdout } = await simulateWith(scenario('06-misreads.json'), ...onTicket, ...people)
    expect(stdout).toMatch(
      /wrong-lay at frame 30, cell 3, 2800\.0 mm: QG2608 [A-Z-]+ v1, where QG2608 [A-Z-]+ v1 belongs/,
    )
    expect(code).toBe(1)
  })

  it('names a constant shift', async () => {
    const { code, stdout } = await simulateWith(scenario('12-constant-shift.json'), ...onTicket, ...people)
    expect(stdout).toContain('Constant shift by 1 frame: from frame 40 to 99')
    expect(code).toBe(1)
  })

  it('exits with 1 where a scenario ends otherwise than it says', async () => {
    const file = path.join(folder, 'other.json')
    const text = JSON.parse(await readFile(scenario('01-plain-roll.json'), 'utf8'))
    await writeFile(file, JSON.stringify({ ...text, expect: { exitCode: 0, laid: { full: 1 } } }))
    const { code, stdout } = await simulateWith(file, ...onTicket, ...people)
    expect(stdout).toContain('Otherwise than the scenario says:\n  laid full: 240, not 1\n')
    expect(code).toBe(1)
  })

  it('asks for what it needs', async () => {
    const refusal = async (exitCode: number, ...args: string[]) => {
      const { code, stderr, stdout } = await simulateWith(scenario('01-plain-roll.json'), ...args)
      expect([code, stdout]).toEqual([exitCode, ''])
      return stderr
    }
    expect(await refusal(2, ...people)).toContain('name --run, or --ticket and --line')
    expect(await refusal(2, ...onTicket, '--on-stop', 'resume')).toContain('add --proved-by')
    expect(await refusal(2, ...onTicket, '--proved-by', 'L. Lead')).toContain('add --on-stop')
    expect(await refusal(2, ...onTicket, ...people, '--seed', 'x')).toContain('--seed takes a whole number')
    expect(await refusal(2, ...onTicket, ...people, '--speed', '0')).toContain('--speed takes a number above 0')
    expect(await refusal(1, '--run', 'none', ...people)).toContain('run-not-found')
  })

  it('names all that is wrong with a scenario by file and pointer', async () => {
    const file = path.join(folder, 'bad.json')
    await writeFile(file, JSON.stringify({ schema: 'rollcall.scenario/1', title: 't', roll: { frames: 0 } }))
    const { code, stderr } = await simulateWith(file, ...onTicket, ...people)
    expect(stderr).toContain('rollcall: scenario-schema: the scenario does not fit its schema')
    for (const pointer of ['/roll/frames', '/line', '/truth']) expect(stderr).toContain(pointer)
    expect(code).toBe(1)
    const absent = await simulateWith(path.join(folder, 'none.json'), ...onTicket, ...people)
    expect(absent.stderr).toContain('not-found')
  })
})
