// Who has a run's connection and for how long: one controller a run, heartbeats, slow readers, garbage, failed commits, the end.
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from 'vitest'
import { toDigest } from '../../src/kernel/bytes.ts'
import { limits } from '../../src/kernel/limits.ts'
import { Problem } from '../../src/kernel/problem.ts'
import { type LineHouse, opened, openLineHouse } from '../fixtures/line-house.ts'
import { answered, answersOf, cursorOf, frame, framesFrom, labels, onLine, ticketName } from '../fixtures/line-roll.ts'
import { demand } from '../fixtures/live-run.ts'
import { until } from './fixtures/until.ts'

let house: LineHouse
beforeAll(async () => {
  house = await openLineHouse()
})
afterAll(() => house.close())

describe('one controller a run', () => {
  it('keeps another one off while it is heard of', async () => {
    const { runId, controller } = await onLine(house)
    const other = house.connect(runId)
    await opened(other)
    other.send({ type: 'hello', protocol: 1, controller: 'other', after: -1 })
    expect((await other.got('problem')).problem).toMatchObject({
      code: 'controller-busy',
      measured: 'press',
      status: 409,
    })
    expect(await other.ended()).toBe(4409)
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
  })

  it('gives its run to the next when it has left', async () => {
    const { runId, controller } = await onLine(house)
    controller.send({ type: 'bye' })
    expect(await controller.ended()).toBe(1000)
    const next = await house.join(runId, { controller: 'other' })
    next.cut()
    await until(async () => {
      const third = house.connect(runId)
      await opened(third)
      third.send({ type: 'hello', protocol: 1, controller: 'third', after: -1 })
      await until(() => third.messages.length > 0)
      return third.messages[0]?.type === 'welcome'
    })
  })

  it('takes its own place at once when it comes anew, and what it sent is not lost', async () => {
    const { runId, controller } = await onLine(house)
    const first = frame(1)
    controller.send({ type: 'frames', seq: 1, frames: [first] })
    await controller.got('accepted')
    const anew = await house.join(runId, { after: cursorOf(controller) })
    expect(await controller.ended()).toBe(4410)
    anew.send({ type: 'frames', seq: 1, frames: [first, frame(2)] })
    expect(await anew.got('accepted')).toMatchObject({ accepted: 2 })
    await answered(anew, 2)
    expect(labels(answersOf(anew))).toEqual(['2/1', '2/2'])
  })

  it('holds for one run, not for others', async () => {
    await onLine(house, { controller: 'one' })
    const { controller } = await onLine(house, { controller: 'two' })
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
  })
})

describe('heartbeats', () => {
  it('come as often as the welcome says', async () => {
    const { controller } = await onLine(house, { heartbeatMs: 100 })
    for (const count of [1, 2, 3]) {
      controller.send({ type: 'heartbeat', positionMm: 12.5 })
      house.held.advance(100)
      await controller.got('heartbeat', count)
    }
    expect(controller.closed).toBeUndefined()
  })

  it('that stay away for silenceMs end the connection, and free the run', async () => {
    const { runId, controller } = await onLine(house)
    house.held.advance(2_999)
    await controller.got('heartbeat', 2)
    expect(controller.closed).toBeUndefined()
    house.held.advance(1)
    expect(await controller.ended()).toBe(4408)
    await house.join(runId, { controller: 'other' })
  })

  it('may be any message', async () => {
    const { runId, controller } = await onLine(house)
    for (const number of [1, 2, 3, 4]) {
      controller.send({ type: 'frames', seq: number, frames: [frame(number)] })
      await controller.got('accepted', number)
      house.held.advance(2_500)
    }
    expect(controller.closed).toBeUndefined()
    const run = await house.run(runId)
    expect(run.state.lastFrame).toBe(4)
  })
})

describe('an encoder position', () => {
  it('between two marks lets what has passed its point of no return be late at once', async () => {
    const { runId, controller } = await onLine(house)
    const run = await house.run(runId)
    // A picture that is never read.
    await run.capture({ frame: 1, positionMm: 30, digest: toDigest('0'.repeat(64)) })
    controller.send({ type: 'heartbeat', positionMm: 1_000 })
    controller.send({ type: 'frames', seq: 1, frames: [frame(2)] })
    expect(await controller.got('accepted')).toEqual({ type: 'accepted', seq: 1, accepted: 1, pending: [2] })
    expect(answersOf(controller)).toEqual([])
    controller.send({ type: 'heartbeat', positionMm: 200_000 })
    await answered(controller, 4)
    expect(answersOf(controller).map(({ flags }) => flags)).toEqual([['late'], ['late'], [], []])
  })
})

describe('a slow reader', () => {
  it('is closed when 8 MiB wait, and resumes by its cursor', async () => {
    const { runId, controller } = await onLine(house)
    controller.socket.pause()
    let frames = 0
    const send = async (): Promise<void> => {
      await demand(house.server.ask('POST', `/runs/${runId}/frames`, { body: framesFrom(frames + 1, 1_000) }))
      frames += 1_000
    }
    const busy = async (): Promise<boolean> => {
      const other = house.connect(runId)
      await opened(other)
      other.send({ type: 'hello', protocol: 1, controller: 'other', after: (await house.run(runId)).durableSize - 1 })
      await until(() => other.messages.length > 0)
      other.send({ type: 'bye' })
      return other.messages[0]?.type === 'problem'
    }
    while (await busy()) await send()
    expect(frames).toBeGreaterThan(limits.lineWaitingBytesMax / 2_000)
    expect(frames).toBeLessThan(60_000)
    await send()
    controller.socket.resume()
    expect(await controller.ended()).toBe(4413)
    const got = answersOf(controller).length
    expect(got).toBeLessThan(2 * frames)
    const again = await house.join(runId, { after: cursorOf(controller) })
    await answered(again, 2 * frames - got)
    const all = [...answersOf(controller), ...answersOf(again)]
    expect(new Set(labels(all)).size).toBe(2 * frames)
    expect(all).toHaveLength(2 * frames)
  })

  it('is closed when nothing leaves for silenceMs while it catches up', async () => {
    const own = await openLineHouse()
    onTestFinished(() => own.close())
    const runId = await own.provedRun('S1')
    for (let first = 1; first < 5_000; first += 1_000)
      await demand(own.server.ask('POST', `/runs/${runId}/frames`, { body: framesFrom(first, 1_000) }))
    const slow = await own.join(runId)
    slow.socket.pause()
    // Its own word that it is there doesn't help a controller that does not read.
    await until(() => {
      if (slow.socket.readyState === slow.socket.OPEN) slow.send({ type: 'heartbeat' })
      own.held.advance(1_000)
      return own.held.timers().some((ms) => ms > 1_000)
    })
    slow.socket.resume()
    expect(await slow.ended()).toBe(4413)
    expect(answersOf(slow).length).toBeLessThan(10_002)
  })
})

describe('garbage', () => {
  it('is refused message by message, and ends the connection when nothing else comes', async () => {
    const { controller } = await onLine(house)
    for (let i = 1; i < 16; i++) controller.send('{"type": "frames"')
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await controller.got('accepted')
    expect(controller.all('problem')).toHaveLength(15)
    expect(controller.closed).toBeUndefined()
    const wrong = [
      '',
      '[]',
      'null',
      '{"type":"nothing"}',
      '{"type":"heartbeat","more":1}',
      Buffer.from([0, 1, 2]),
      '['.repeat(1_000),
    ]
    for (let i = 0; i < 16; i++) controller.send(wrong[i % wrong.length]!)
    expect(await controller.ended()).toBe(4422)
    expect(controller.all('problem')).toHaveLength(31)
  })

  it('of more than 4 MiB is not read at all', async () => {
    const { controller } = await onLine(house)
    controller.send(' '.repeat(limits.jsonBodyBytesMax + 1))
    expect(await controller.ended()).toBe(1009)
  })
})

describe('a failed commit', () => {
  it('ends the session with its problem; the controller connects again and nothing is missing', async () => {
    const runId = await house.provedRun(ticketName())
    const controller = await house.join(runId)
    controller.send({ type: 'frames', seq: 1, frames: [frame(1)] })
    await answered(controller, 4)
    const { database } = house.bench.parts
    const { appendLedger } = database
    Object.assign(database, { appendLedger: () => Promise.reject(new Problem('data-full', 'no room left')) })
    const second = frame(2)
    controller.send({ type: 'frames', seq: 2, frames: [second] })
    expect(await controller.ended()).toBe(4507)
    Object.assign(database, { appendLedger })
    expect((await controller.got('problem')).problem).toMatchObject({ code: 'data-full', retry: 'later' })
    expect(answersOf(controller)).toHaveLength(4)
    const again = await house.join(runId, { after: cursorOf(controller) })
    again.send({ type: 'frames', seq: 2, frames: [second] })
    await answered(again, 2)
    expect(labels(answersOf(again))).toEqual(['2/1', '2/2'])
  })
})

describe('shutting down', () => {
  it('tells every controller, and lets no other one on', async () => {
    const own = await openLineHouse()
    const runId = await own.provedRun('E1')
    const controller = await own.join(runId)
    const early = own.connect(runId)
    await opened(early)
    await own.bench.closeSockets()
    for (const one of [controller, early]) {
      expect((await one.got('problem')).problem.code).toBe('shutting-down')
      expect(await one.ended()).toBe(4503)
    }
    const late = own.connect(runId)
    expect((await late.got('problem')).problem.code).toBe('shutting-down')
    expect(await late.ended()).toBe(4503)
    await own.close()
  })
})
