// The command line through a run whose mark count slips on the way: proving is asked for again and given again; then the next ticket,
// and the finished rolls.
import { writeFile } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, expect, it, vi } from 'vitest'
import { runCli } from '../../src/cli/index.ts'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'
import { code, lineProfile, pitchMm, ticketOf } from '../fixtures/live-run.ts'
import { plainDraft, writeDraft } from '../fixtures/packages.ts'

let bench: ApiBench
const at = (name: string): string => path.join(bench.folder, '..', name)

beforeAll(async () => {
  bench = await openApiBench()
})
afterAll(() => bench.close())

/** Runs a command line that must end well. Its words come first, then arguments with spaces. */
async function ok(line: string, ...rest: string[]): Promise<string> {
  const said = { stdout: '', stderr: '' }
  const spies = (['stdout', 'stderr'] as const).map((name) =>
    vi.spyOn(process[name], 'write').mockImplementation((text) => {
      said[name] += String(text)
      return true
    }),
  )
  const parts = { version: '', start: async () => expect.unreachable(), demo: async () => 0 }
  const exit = await runCli(['--url', bench.url, ...line.split(' '), ...rest], parts)
  for (const spy of spies) spy.mockRestore()
  expect(exit, said.stderr).toBe(0)
  return said.stdout
}

/** Reads of both cells, frame by frame, the marks from a frame on 0.4 of a pitch late. */
function readsCsv(frames: number, slipAt: number): string {
  const rows = Array.from({ length: frames }, (_, frame) => {
    const positionMm = (frame + (frame >= slipAt ? 0.4 : 0)) * pitchMm
    return `${frame},${positionMm},1,${code('LIME', frame)}\n${frame},${positionMm},2,${code('PLUM', 500 + frame)}`
  })
  return `frame,positionMm,cell,text\n${rows.join('\n')}\n`
}

it('proves again behind a slip, goes on with the next ticket, and names finished rolls until the seal', async () => {
  await writeDraft(at('package'), await plainDraft())
  await ok('publish --by Ann --release --why approved', at('package'))
  await writeFile(at('line.json'), JSON.stringify(lineProfile()))
  await ok('line', at('line.json'))
  for (const name of ['T7', 'T8']) {
    await writeFile(at('ticket.json'), JSON.stringify({ ...ticketOf(name), roll: 'R1' }))
    await ok('ticket', at('ticket.json'))
  }
  await writeFile(at('reads.csv'), readsCsv(10, 5))
  const feed = '--setup 2 --proved-by Fay --on-stop resume --by Lee'
  const shown = await ok(`run --ticket T7 --line L7 ${feed} --reads`, at('reads.csv'))
  expect(shown).toContain('stop: out-of-sequence at frame 5, cell 2')
  expect(shown).toContain('run T7.1 is open: 10 frames, 20 labels: 18 lay, 1 skip, 1 stop (set-up 8, revoked 0)')
  const setUp = await ok('set-up T7.1')
  expect(setUp).toContain(`set-up of T7.1: 8 labels, ${((4 * pitchMm) / 1000).toFixed(2)} m of web`)
  expect(setUp).toMatch(/^2\. after a slipped mark count, .*: the mark count slipped at frame 5$/m)
  expect(setUp.match(/proved by Fay/g)).toHaveLength(2)
  expect(await ok('change-ticket T7.1 T8 --by Lee --why', 'next order')).toContain('run T7.1 is open')
  await ok('material T7.1 --by Lee --event split --roll R1-A --position', String(6 * pitchMm))
  await ok('close T7.1 --by Lee')
  const slit = await ok('material T7.1 --by Lee --event slit --roll R1-2 --lane-roll R1-B1=1 --lane-roll R1-B2=2')
  const [, entry] = /entry (\d+): slit R1-2/.exec(slit) ?? expect.unreachable(slit)
  const voided = await ok(`material T7.1 --by Lee --event void --voids ${entry}`)
  expect(voided).toContain('split R1-A at')
  expect(voided).not.toContain('slit')
  expect(await ok('seal T7.1 --by Lee')).toContain('run T7.1 is sealed')
  expect(await ok('verify T7.1')).toContain('T7.1 verifies')
})
