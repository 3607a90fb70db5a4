// The simulator against a real server: every scenario of the folder ends as it says, flat out; and what the simulator itself promises.
import { readdirSync } from 'node:fs'
import { readFile } from 'node:fs/promises'
import path from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { readScenario, scenarioSchema, timedPace, unmet } from '../../src/cli/simulate/index.ts'
import {
  openSimulatorHouse,
  type SimulatorHouse,
  scenarioFolder,
  simulateFile,
  simulateScenario,
} from '../fixtures/simulator.ts'
import { until } from './fixtures/until.ts'

let house: SimulatorHouse
beforeAll(async () => {
  house = await openSimulatorHouse()
})
afterAll(() => house.close())

const files = readdirSync(scenarioFolder).filter((name) => name.endsWith('.json'))

describe('the scenarios of the folder', () => {
  it('are a dozen and more, each with what it shows and how it must end', async () => {
    expect(files.length).toBeGreaterThanOrEqual(12)
    for (const name of files) {
      const { shows, expect: expected } = await readScenario(path.join(scenarioFolder, name))
      expect([name, shows, expected?.exitCode]).toEqual([name, expect.any(String), expect.any(Number)])
    }
  })

  it.each(files)('ends %s as it says', async (name) => {
    const { expect: expected } = await readScenario(path.join(scenarioFolder, name))
    expect(unmet(expected ?? {}, await simulateFile(house, name))).toEqual([])
  })
})

describe('a simulation', () => {
  it('ends alike under the same seed, and otherwise under another', async () => {
    const texts: string[] = []
    for (const seed of [12, 12, 99]) {
      const outcome = await simulateFile(house, '02-no-read-burst.json', { seed })
      texts.push(JSON.stringify([outcome.decisions, outcome.labels, outcome.laid]))
    }
    expect(texts[1]).toBe(texts[0])
    expect(texts[2]).not.toBe(texts[0])
  })

  it('keeps to the clock, and then measures how much way the answers left', async () => {
    const outcome = await simulateFile(house, '01-plain-roll.json', { pace: () => timedPace(20) })
    expect(outcome).toMatchObject({ exitCode: 0, wrongLays: 0, lostAnswers: 0, doubledAnswers: 0 })
    // 60 pitches of 60 mm and the way to the last head at 15 to 30 m/min take 20 s of line time at least.
    expect(outcome.seconds).toBeGreaterThan(20 / 20)
    expect(outcome.marginMm?.p50).toBeGreaterThan(0)
  })

  it('goes faster with more frames under way, and lays no other labels', async () => {
    const outcome = await simulateFile(house, '03-stop-and-back-up.json', { windowFrames: 40 })
    expect(outcome).toMatchObject({ exitCode: 0, labels: { all: 480, laid: 480 }, missedLays: 0 })
  })

  it('ends at the first stop where people leave it at that', async () => {
    const outcome = await simulateFile(house, '09-other-job.json', { onStop: 'end' })
    expect(outcome).toMatchObject({ ended: 'stop', wrongLays: 0, lostAnswers: 0 })
    expect(new Set(outcome.stops)).toEqual(new Set(['other-job']))
    const view = await house.server.get<{ state: string }>(`/runs/${outcome.runId}`)
    expect(view.state).toBe('stopped')
  })

  it('takes the sequence that the ticket names for its truth', async () => {
    const file = path.join(scenarioFolder, '15-from-the-press.csv')
    const { json } = await house.bench.ask('POST', '/api/v1/sequences?jobs=QG2608', {
      raw: await readFile(file),
      headers: { 'content-type': 'text/csv' },
    })
    const runId = await house.openRun({ ticket: 'T-SEQ', sequence: { sha256: json.sha256 } })
    const scenario = await readScenario(path.join(scenarioFolder, '15-from-the-press.json'))
    const outcome = await simulateScenario(house, { ...scenario, truth: { from: 'sequence' } }, { runId, seed: 4 })
    // Its codes were laid by the run of the folder's scenario, so they are duplicates: known ones, each in its place.
    expect(outcome).toMatchObject({ exitCode: 0, wrongCodes: 0, wrongLays: 0, lostAnswers: 0 })
    expect(outcome.flags['no-read']).toBeGreaterThan(0)
    const without = simulateScenario(house, { ...scenario, truth: { from: 'sequence' } }, {})
    await expect(without).rejects.toMatchObject({
      code: 'scenario-truth',
      message: expect.stringContaining('has no sequence'),
    })
  })

  it('lays nothing that is answered behind its point of no return', async () => {
    // The web passes from the sensor to the head in some ten milliseconds by the wall.
    const outcome = await simulateFile(house, '10-reconnects.json', { pace: () => timedPace(800) })
    expect(outcome).toMatchObject({
      exitCode: 0,
      wrongLays: 0,
      lostAnswers: 0,
      doubledAnswers: 0,
      decisions: { lay: 400 },
    })
    expect(outcome.lateAnswers).toBeGreaterThan(100)
    expect(outcome.missedLays).toBe(400 - outcome.labels.laid)
    expect(outcome.missedLays).toBeGreaterThan(100)
    expect(outcome.marginMm?.least).toBeLessThan(0)
  })

  it('ends with a problem where the run ends under it', async () => {
    const runId = await house.openRun()
    const simulated = simulateFile(house, '01-plain-roll.json', { runId, pace: () => timedPace(4) })
    const ending = expect(simulated).rejects.toMatchObject({
      code: 'run-state',
      message: expect.stringContaining('the line has ended'),
    })
    await until(async () => (await house.server.get<{ lastFrame: number }>(`/runs/${runId}`)).lastFrame > 6)
    await house.server.send('POST', `/runs/${runId}/abort`, { by: 'lead', why: 'test' })
    await ending
  })

  it('is refused on a run that holds frames', async () => {
    const { runId } = await simulateFile(house, '01-plain-roll.json')
    const again = simulateFile(house, '01-plain-roll.json', { runId })
    await expect(again).rejects.toMatchObject({
      code: 'run-state',
      message: expect.stringContaining('needs a fresh one'),
    })
  })

  it('can be broken off', async () => {
    const leaving = new AbortController()
    leaving.abort(new DOMException('interrupted', 'AbortError'))
    const broken = simulateFile(house, '01-plain-roll.json', { signal: leaving.signal })
    await expect(broken).rejects.toMatchObject({ name: 'AbortError' })
  })
})

describe('a scenario', () => {
  const roll = { schema: 'rollcall.scenario/1', title: 't', roll: { frames: 10 }, truth: { from: 'jobs' } }

  it('is refused where speeds do not begin at the roll’s start, or a trouble is none that is known', () => {
    const findings = (more: object): string =>
      JSON.stringify(scenarioSchema.safeParse({ ...roll, line: { speeds: [{ from: 0, mPerMin: 10 }] }, ...more }).error)
    expect(findings({ line: { speeds: [{ from: 3, mPerMin: 10 }] } })).toContain('not from place 0')
    expect(findings({ troubles: [{ kind: 'gremlin' }] })).toContain('troubles')
    expect(findings({ troubles: [{ kind: 'shift', from: 3, frames: 0 }] })).toContain('is no shift')
    expect(findings({ seed: 3 })).toBeUndefined()
  })
})
