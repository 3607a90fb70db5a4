// What the client makes of answers and all else that it is told, against the other side on paper; and how it ends.
import { describe, expect, it } from 'vitest'
import { frameAt, opened, turn } from '../../tests/fixtures/paper-client.ts'
import { answerOf, PaperLine } from '../../tests/fixtures/paper-line.ts'
import { openLine } from './index.ts'

describe('answers', () => {
  it('are told, kept, and settled as frames alone move the position on', async () => {
    const { client, paper } = await opened()
    const due: string[] = []
    const answers: string[] = []
    paper.decide = (frame) => (frame === 1 ? 'skip' : 'lay')
    client.onAnswer(({ frame, cell }) => answers.push(`${frame}/${cell}`))
    client.onDue(({ frame, cell, decision }) => due.push(`${frame}/${cell} ${decision === 'skip' ? 'skip' : 'lay'}`))
    for (let frame = 0; frame < 16; frame++) {
      void client.frames(frameAt(frame))
      paper.carryAll()
    }
    expect(answers).toHaveLength(32)
    expect(due).toEqual(['0/1 lay', '0/2 lay', '1/1 skip', '1/2 skip'])
    expect(client.decide(2, 1)).toMatchObject({ ledgerIndex: 7 })
    expect(client.decide(1, 1)).toBe('skip')
  })

  it('received before a cut still hold while away; what was not received skips', async () => {
    const { client, paper } = await opened()
    client.position(0)
    void client.frames(frameAt(0))
    paper.carryAll()
    void client.frames(frameAt(1))
    paper.takeOne()
    paper.socket.end(1006)
    expect(client.decide(0, 1)).toMatchObject({ decision: 'lay' })
    expect(client.decide(1, 1)).toBe('skip')
  })

  it('that a message may have revoked which could not be read are skipped', async () => {
    const { client, paper, problems } = await opened()
    void client.frames(frameAt(0))
    paper.carryAll()
    expect(client.decide(0, 1)).toMatchObject({ decision: 'lay' })
    paper.socket.hand('{"type":"state","state":"gone"}')
    expect(client.decide(0, 1)).toMatchObject({ decision: 'lay' })
    paper.socket.hand('{"type":"answers","cursor":9,"answers":[],"revocations":[{"frame":0}]}')
    expect(client.decide(0, 1)).toBe('skip')
    paper.socket.hand('{')
    paper.socket.hand(new ArrayBuffer(1))
    paper.socket.hand('null')
    expect(problems.map(({ kind }) => kind)).toEqual(['unfit', 'unfit', 'unfit', 'unfit', 'unfit'])
    expect(problems[1]?.detail).toMatch(/"answers" does not fit: \/revocations\/0\/runId/)
    expect(client.cursor).toBe(2)
  })

  it('of another run, or to nothing that was asked, are reported and not taken', async () => {
    const { client, paper, problems } = await opened()
    client.position(0)
    const answers = [answerOf({ frame: 0, positionMm: 0 }, 1, { runId: 'R2' })]
    paper.send({ type: 'answers', cursor: 1, answers, revocations: [] })
    paper.send({ type: 'accepted', seq: 99, accepted: 1 })
    paper.carryAll()
    expect(client.decide(0, 1)).toBe('skip')
    expect(problems.map(({ kind }) => kind)).toEqual(['unfit', 'unfit'])
  })

  it('that contradict one another are reported, and the label is skipped', async () => {
    const { client, paper, problems } = await opened()
    client.position(0)
    const first = answerOf({ frame: 0, positionMm: 0 }, 1)
    const answers = [first, { ...first, ledgerIndex: 9 }]
    paper.send({ type: 'answers', cursor: 9, answers, revocations: [] })
    paper.carryAll()
    expect(client.decide(0, 1)).toBe('skip')
    expect(problems).toMatchObject([{ kind: 'contradiction', answer: { ledgerIndex: 9 } }])
  })

  it('held as the run goes back to proving are skipped, save those of set-up', async () => {
    const { client, paper } = await opened()
    client.position(0)
    const answers = [0, 1].map((frame) => answerOf({ frame, positionMm: 0 }, 1, frame === 1 ? { setup: true } : {}))
    paper.send({ type: 'answers', cursor: 9, answers, revocations: [] })
    paper.send({ type: 'state', state: 'proving', causes: [] })
    paper.carryAll()
    expect(client.decide(0, 1)).toBe('skip')
    expect(client.decide(1, 1)).toMatchObject({ setup: true })
  })

  it('hold no longer once the encoder has a new origin', async () => {
    const { client, paper } = await opened()
    void client.frames(frameAt(0))
    paper.carryAll()
    client.rethreaded()
    client.position(10)
    expect(client.decide(0, 1)).toBe('skip')
  })
})

describe('listeners', () => {
  it('hear of states, stops, outlook and revocations until they are taken off', async () => {
    const { client, paper } = await opened()
    const heard: string[] = []
    const off = client.onState(({ state, causes, by }) => heard.push(`${state} ${causes.length} ${by ?? ''}`))
    client.onOutlook(({ labels }) => heard.push(`outlook ${labels.length}`))
    client.onRevocation(({ frame }) => heard.push(`revoked ${frame}`))
    paper.send({ type: 'state', state: 'stopped', causes: [{ cause: { flag: 'other-job' }, frame: 3, cell: 1 }] })
    paper.send({ type: 'outlook', place: 3, labels: [] })
    paper.carryAll()
    void client.frames(frameAt(0))
    paper.carryAll()
    paper.revoke(paper.answers[0]!)
    paper.carryAll()
    off()
    paper.send({ type: 'state', state: 'open', causes: [], by: 'L. Lead' })
    paper.carryAll()
    expect(heard).toEqual(['stopped 1 ', 'outlook 0', 'revoked 0'])
    expect(client.state).toMatchObject({ state: 'open', by: 'L. Lead' })
  })
})

describe('closing', () => {
  it('says bye, fails what waits, and does not come back', async () => {
    const { client, paper, clock } = await opened()
    paper.windowFrames = 1
    const sent: string[] = []
    const given = client.frames(frameAt(0))
    const socket = paper.socket
    const close = socket.close.bind(socket)
    socket.close = () => {
      sent.push(...socket.toServer)
      close()
    }
    await client.close()
    expect(sent.map((text) => JSON.parse(text).type)).toEqual(['frames', 'bye'])
    await expect(given).rejects.toMatchObject({ code: 'line-closed' })
    expect(client.connection).toMatchObject({ state: 'ended', because: 'closed' })
    expect(clock.fireNext()).toBe(false)
    expect(paper.sockets).toHaveLength(1)
    await client.close()
  })

  it('while it is away, or still opening, leaves nothing behind', async () => {
    const away = await opened()
    away.paper.socket.end(1006)
    await away.client.close()
    expect(away.clock.fireNext()).toBe(false)
    const paper = new PaperLine()
    const opening = openLine({ url: 'http://x', runId: 'R1', controller: 'c', WebSocket: paper.WebSocket })
    await opening.close()
    await turn()
    expect(paper.sockets.every(({ isClosed }) => isClosed)).toBe(true)
  })

  it('does not wait for ever for the other side', async () => {
    const { client, paper, clock } = await opened()
    paper.socket.close = () => undefined
    const closed = client.close()
    clock.advance(1_000)
    await closed
    expect(client.connection.state).toBe('ended')
  })
})
