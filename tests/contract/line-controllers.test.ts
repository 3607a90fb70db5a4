// The example controllers as people run them, against a real server: the one on the client, and the one in plain curl.
import { type ChildProcessWithoutNullStreams, execFile, spawn } from 'node:child_process'
import { once } from 'node:events'
import { readFileSync } from 'node:fs'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest'
import { systemClock } from '../../src/kernel/clock.ts'
import { systemTimer } from '../../src/queue/index.ts'
import { type LineHouse, openLineHouse } from '../fixtures/line-house.ts'
import { act, frame, fresh, ticketName } from '../fixtures/line-roll.ts'
import { frameOf, ledgerOf, lineProfile, openRun, pitchMm, proveRun } from '../fixtures/live-run.ts'
import { root } from '../fixtures/server.ts'
import { until } from './fixtures/until.ts'

let house: LineHouse
beforeAll(async () => {
  house = await openLineHouse({ clock: systemClock, startTimer: systemTimer })
})
afterAll(() => house.close())

const noReturnMm = 300

async function provedRun(): Promise<string> {
  const runId = await openRun(house.server, ticketName(), lineProfile(noReturnMm))
  await proveRun(house.server, runId)
  return runId
}

const entriesOf = async (runId: string, type: string) =>
  (await ledgerOf(house.server, runId)).entries.filter((entry) => entry.type === type).map(({ body }) => body)
const key = ({ frame, cell }: { frame: number; cell: number }): string => `${frame}/${cell}`

/** A command of the controller to its machine. */
type Command = { readonly do: string; readonly frame: number; readonly cell: number; readonly [key: string]: unknown }

/** The controller on the client, with the machine's end of its pipes. */
function start(runId: string) {
  const file = path.join(root, 'dist/demo-jobs/line/controller.js')
  const child: ChildProcessWithoutNullStreams = spawn(process.execPath, [file, house.bench.url, runId])
  onTestFinished(() => void child.kill())
  let out = ''
  let noted = ''
  child.stdout.setEncoding('utf8').on('data', (text: string) => {
    out += text
  })
  child.stderr.setEncoding('utf8').on('data', (text: string) => {
    noted += text
  })
  const commands = (what: string): Command[] =>
    out
      .split('\n')
      .filter(Boolean)
      .map((text): Command => JSON.parse(text))
      .filter((command) => command.do === what)
  return {
    commands,
    say: (event: object) => void child.stdin.write(`${JSON.stringify(event)}\n`),
    notes: () => noted,
    async end() {
      child.stdin.end()
      const [code] = await once(child, 'exit')
      return code as number
    },
  }
}

describe('the example controller on the client', () => {
  it('is under a hundred lines', () => {
    const lines = readFileSync(path.join(root, 'demo-jobs/line/controller.ts'), 'utf8').split('\n')
    expect(lines.length).toBeLessThan(100)
  })

  it('commands each label at its point of no return, and the web to stop and go on', async () => {
    const runId = await provedRun()
    const machine = start(runId)
    for (const mark of [frame(1), frame(2, [fresh('PLUM'), null])]) machine.say({ mark })
    await until(() => machine.commands('fetch').length === 2)
    expect(machine.commands('lay')).toEqual([])
    for (let mm = 2 * pitchMm; mm < 2 * pitchMm + noReturnMm + 40; mm += 10) machine.say({ encoderMm: mm })
    await until(() => machine.commands('lay').length + machine.commands('skip').length === 4)
    expect(machine.commands('lay').map(key)).toEqual(['1/1', '1/2', '2/1'])
    expect(machine.commands('lay')[0]).toMatchObject({ rotateDeg: 0, layers: [{ station: 'foil' }, {}] })
    expect(machine.commands('skip')).toEqual([{ do: 'skip', frame: 2, cell: 2, because: 'answered' }])
    machine.say({ laid: { frame: 1, cell: 1, laid: 'full' } })
    machine.say({ laid: { frame: 1, cell: 2, laid: 'part' } })

    machine.say({ mark: frameOf(14, [fresh('LIME', '09'), fresh()]) })
    await until(() => machine.commands('stop').length === 1)
    const [open] = machine.commands('stop')[0]!.causes as { cause: object; frame: number }[]
    expect(open).toMatchObject({ cause: { flag: 'print-version-mismatch' }, frame: 14 })
    await act(house, runId, 'clear', { why: 'looked', cause: open!.cause, after: 'skip-rest' })
    await until(() => machine.commands('run').length === 1)
    expect(await machine.end()).toBe(0)
    expect((await entriesOf(runId, 'laid')).map((body) => `${key(body)} ${body.laid}`)).toEqual([
      '1/1 full',
      '1/2 part',
    ])
  })

  it('ends with an error where it is not let in', async () => {
    const machine = start('T-none.1')
    machine.say({ mark: frame(1) })
    expect(await machine.end()).toBe(1)
    expect(machine.notes()).toMatch(/run-not-found/)
  })
})

const runShell = (runId: string, input: string, key?: string): Promise<{ stdout: string; stderr: string }> =>
  new Promise((resolve, reject) => {
    const file = path.join(root, 'demo-jobs/line/controller.sh')
    const env = { ...process.env, ...(key === undefined ? {} : { ROLLCALL_KEY: key }) }
    const child = execFile('sh', [file, house.bench.url, runId], { env }, (error, stdout, stderr) =>
      error ? reject(error) : resolve({ stdout, stderr }),
    )
    child.stdin?.end(input)
  })

describe('the example controller in plain curl', () => {
  it('has every label answered and what it lays reported, and repeats change nothing', async () => {
    const runId = await provedRun()
    const events = [frame(1), frame(2, [null, fresh('PLUM')]), frame(3)]
    const input = events.map((event) => `${JSON.stringify(event)}\n`).join('')
    const { stdout, stderr } = await runShell(runId, input)
    expect(stdout.trim().split('\n')).toEqual(['1 1 lay', '1 2 lay', '2 1 skip', '2 2 lay', '3 1 lay', '3 2 lay'])
    expect(stderr).toBe('')
    const laid = ['1/1', '1/2', '2/2', '3/1', '3/2']
    expect((await entriesOf(runId, 'laid')).map(key)).toEqual(laid)
    expect((await runShell(runId, input)).stdout).toBe(stdout)
    expect((await entriesOf(runId, 'laid')).map(key)).toEqual(laid)
    expect(await entriesOf(runId, 'frame')).toHaveLength(4)
  })

  it('says what was refused and what was revoked, and needs its key', async () => {
    const runId = await provedRun()
    const version = fresh('PLUM')
    await runShell(runId, `${JSON.stringify(frameOf(1, [version, null]))}\n`)
    const run = await house.run(runId)
    await run.withdraw({ by: 'Q. Auditor', why: 'wrong gold', job: 'J7', design: 'PLUM', version: 1 })
    const { createKey } = house.bench.parts.keys
    const { text } = await createKey({ role: 'line', line: 'L7', createdBy: 'A. Admin' })
    const input = [frameOf(1, [fresh(), null]), frameOf(2, [null, null])]
      .map((event) => JSON.stringify(event))
      .join('\n')
    const keyed = await runShell(runId, `${input}\n`, text)
    // Frame 1 was reported as laid; the set-up label before it was not.
    expect(keyed.stdout.trim().split('\n')).toEqual(['2 1 skip', '2 2 skip', '0 2 revoked'])
    expect(keyed.stderr).toMatch(/refused: .*frame-conflict/)
    expect((await runShell(runId, `${input}\n`)).stderr).toMatch(/refused: .*unauthorized/)
  })
})
