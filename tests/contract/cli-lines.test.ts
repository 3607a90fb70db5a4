// The built command line around lines, tickets and readiness: checks without a data directory, one command for ticket and sequence,
// and readiness that prints itself again.
import { spawn } from 'node:child_process'
import { once } from 'node:events'
import { access, rm, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { code, lineProfile, publishJob, ticketOf } from '../fixtures/live-run.ts'
import { sequenceText } from '../fixtures/sequences.ts'
import { entryFile, type LiveServer, rollcall, startServer, temporaryFolder, until } from '../fixtures/server.ts'

let folder: string
let data: string
let server: LiveServer
const at = (name: string): string => path.join(folder, name)
const cli = (...argv: string[]) => rollcall(data, ...argv)

async function ok(...argv: string[]): Promise<string> {
  const { code: exit, stdout, stderr } = await cli(...argv)
  expect(exit, stderr).toBe(0)
  return stdout
}
async function refused(...argv: string[]): Promise<string> {
  const { code: exit, stderr } = await cli(...argv)
  expect(exit, stderr).toBe(1)
  return stderr
}

beforeAll(async () => {
  folder = await temporaryFolder('cli-lines')
  data = at('data')
  await writeFile(at('line.json'), JSON.stringify(lineProfile()))
  await writeFile(at('ticket.json'), JSON.stringify(ticketOf('T7')))
  server = await startServer({ dataFolder: data })
  await publishJob(server)
})
afterAll(async () => {
  await server.stop()
  await rm(folder, { recursive: true, force: true })
})

describe('a check', () => {
  it('of a line or a ticket needs no data directory, and says all at once', async () => {
    const nowhere = at('nowhere')
    const check = (...argv: string[]) => rollcall(nowhere, ...argv)
    expect((await check('line', 'check', at('line.json'))).stdout).toBe('line L7: no findings\n')
    const shafts = [{ shaft: 'a', widthMmMax: 50, reelsMax: 1 }]
    const [foil, inkjet] = lineProfile().stations
    const stations = [
      { ...foil, shafts },
      { ...inkjet, distanceMm: 1, shafts },
    ]
    await writeFile(at('bad-line.json'), JSON.stringify({ ...lineProfile(), stations, colour: 'red' }))
    const line = await check('line', 'check', at('bad-line.json'))
    expect(line.code).toBe(1)
    expect(line.stderr).toMatch(/^rollcall: line-schema: line L7 has 6 findings \[.*bad-line\.json\]\n/)
    expect(line.stderr).toContain(
      '  line-stations at /stations/1/shafts: only a foil station has shafts (is inkjet, limit foil)\n',
    )

    await writeFile(at('shafted.json'), JSON.stringify({ ...lineProfile(), stations: [{ ...foil, shafts }, inkjet] }))
    const wide = { ...ticketOf('T6'), foils: [{ station: 'foil', foil: 'gold', leftMm: 0, widthMm: 60 }] }
    await writeFile(at('wide.json'), JSON.stringify(wide))
    const alone = await check('ticket', 'check', at('wide.json'))
    expect(alone.stdout).toBe('ticket T6: no findings\n')
    const on = await check('ticket', 'check', at('wide.json'), '--line', at('shafted.json'))
    expect(on.stderr).toContain('ticket-reels')
    await expect(access(nowhere)).rejects.toThrow('ENOENT')
  })

  it('of a ticket against a stored line knows what is published', async () => {
    await ok('line', 'put', at('line.json'))
    await writeFile(at('cells.json'), JSON.stringify({ ...ticketOf('T6'), cells: [1, 9] }))
    expect(await refused('ticket', 'check', at('cells.json'), '--line', 'L7')).toContain(
      'ticket-cells: ticket T6 has 1 finding',
    )
  })

  it('of a sequence names its rows', async () => {
    await writeFile(at('falls.csv'), 'position,cell,code\n1,1,a\n0,1,b\n')
    const text = await refused('ticket', 'check', at('ticket.json'), '--sequence', at('falls.csv'))
    expect(text).toContain(`sequence-position at ${at('falls.csv')} row 3: `)
    expect(await refused('ticket', 'put', at('ticket.json'), '--sequence', at('falls.csv'))).toContain(
      `sequence-refused: the sequence has 1 finding [${at('falls.csv')}] (is 1, limit 0)\n  sequence-position at ${at('falls.csv')} row 3: `,
    )
    expect(await refused('ticket', 'put', at('ticket.json'), '--sequence', at('none.csv'))).toContain('not-found')
  })
})

describe('what is stored', () => {
  it('is listed, shown by revision, and told with its revisions', async () => {
    await writeFile(at('line.json'), JSON.stringify({ ...lineProfile(), title: 'new rollers' }))
    expect(await ok('line', at('line.json'))).toBe('line L7 stored, revision 2\n')
    expect(await ok('line', 'list')).toMatch(/^L7 +2 +\S+ +new rollers$/m)
    expect(JSON.parse(await ok('line', 'show', 'L7', '--revision', '1')).title).toBe('fault line')
    expect(JSON.parse(await ok('line', 'L7')).title).toBe('new rollers')
    expect((await ok('line', 'revisions', 'L7')).trimEnd().split('\n')).toHaveLength(3)
    expect(await refused('line', 'show', 'L7', '--revision', '7')).toContain('line-not-found')
    expect(await ok('ticket', 'list')).toBe('No ticket is stored yet.\n')
  })

  it('is asked for in a way that is understood', async () => {
    for (const argv of [
      ['line', 'check'],
      ['line', 'mend', 'L7'],
      ['line', 'show', 'L7', '--revision', '0'],
    ])
      expect((await cli(...argv)).code, argv.join(' ')).toBe(2)
  })
})

describe('a ticket put again', () => {
  it('without its sequence says that it dropped it, and how to keep it', async () => {
    await writeFile(at('again.json'), JSON.stringify(ticketOf('T8')))
    await writeFile(at('again.csv'), sequenceText([[code('LIME', 1), code('PLUM', 2)]]))
    await ok('ticket', 'put', at('again.json'), '--sequence', at('again.csv'))
    expect(await ok('ticket', 'put', at('again.json'))).toBe(
      'ticket T8 stored, revision 2\nthe sequence of revision 1 is not on this one; add --sequence FILE to keep it\n',
    )
    await writeFile(at('again.json'), JSON.stringify({ ...ticketOf('T8'), expectedFrames: 9 }))
    expect(await ok('ticket', 'put', at('again.json'))).toBe('ticket T8 stored, revision 3\n')
    expect(await ok('ticket', 'put', at('again.json'), '--sequence', at('again.csv'))).not.toContain('is not on')
  })
})

describe('readiness', () => {
  it('tells of every label of a sequence that one command stored with its ticket', async () => {
    const roll = [
      [code('LIME', 1), code('PLUM', 2)],
      [code('LIME', 3, '09'), 'nobody'],
    ]
    await writeFile(at('roll.csv'), sequenceText(roll))
    expect(await ok('ticket', 'put', at('ticket.json'), '--sequence', at('roll.csv'))).toBe(
      'ticket T7 stored, revision 1\n',
    )
    const { code: exit, stdout } = await cli('readiness', '--ticket', 'T7', '--line', 'L7')
    expect(exit).toBe(1)
    expect(stdout.split('\n').filter((line) => !line.startsWith('  mend: '))).toEqual([
      'Ticket T7 is not ready on L7: 2 blockers.',
      'blocker print-version-mismatch J7 LIME print 09, 1 label: the web carries a print version that no version of the design fits',
      `  such as: position 1 cell 1 ${code('LIME', 3, '09')}`,
      'blocker unknown-code, 1 label: no job on the ticket knows these codes',
      '  such as: position 1 cell 2 nobody',
      '  sequence: 4 labels in 2 frames, 2 versions',
      expect.stringMatching(/^ {2}0\.1 m of web, /),
      '',
    ])
    expect(stdout.match(/^ {2}mend: .+/gm)).toHaveLength(2)
  })

  it('is printed again when it changes, until the command is ended', async () => {
    const child = spawn(process.execPath, [
      entryFile,
      '--data',
      data,
      'readiness',
      '--ticket',
      'T7',
      '--line',
      'L7',
      '--watch',
    ])
    let said = ''
    child.stdout.setEncoding('utf8').on('data', (text: string) => {
      said += text
    })
    const times = () => said.match(/^Ticket T7 is /gm)?.length ?? 0
    try {
      await until(async () => times() === 1 && said.includes('watching'))
      await writeFile(at('roll.csv'), sequenceText([[code('LIME', 1), code('PLUM', 2)]]))
      await ok('ticket', 'put', at('ticket.json'), '--sequence', at('roll.csv'))
      await until(async () => times() === 2)
      expect(said).toContain('Ticket T7 is ready on L7.\n')
    } finally {
      child.kill('SIGKILL')
      await once(child, 'exit')
    }
  })
})
