// How what waits is put into messages: none larger than the other side takes, none ahead of its turn.
import { beforeEach, describe, expect, it } from 'vitest'
import type { ControllerMessage, FrameEvent } from '../protocol/index.ts'
import { Outbox } from './outbox.ts'

type Sent = ControllerMessage & { readonly type: 'frames' | 'laid' }

let sent: Sent[]
let takes: boolean
let outbox: Outbox
beforeEach(() => {
  sent = []
  takes = true
  outbox = new Outbox({
    framesMax: 10_000,
    reportsMax: 20_000,
    send: (message) => takes && sent.push(message as Sent) > 0,
  })
})

const frames = (count: number, reads = 0): FrameEvent[] =>
  Array.from({ length: count }, (_, frame) => ({
    frame,
    positionMm: frame,
    reads: Array.from({ length: reads }, () => ({ text: null })),
  }))
const reports = (count: number) =>
  Array.from({ length: count }, (_, frame) => ({ frame, cell: 1, laid: 'full' as const }))
const sizes = (): number[] =>
  sent.map((message) => (message.type === 'frames' ? message.frames.length : message.reports.length))
const accept = (seq: number) => outbox.accepted({ type: 'accepted', seq, accepted: 0, pending: [seq] })

describe('messages of the outbox', () => {
  it('hold no more frames than the schema allows, and no more reads than fit', async () => {
    outbox.open(1_024)
    const given = outbox.frames(frames(1_500))
    expect(sizes()).toEqual([1_024])
    accept(0)
    expect(sizes()).toEqual([1_024, 476])
    accept(1)
    expect(await given).toEqual({ accepted: 1_500, pending: [0, 1] })
    void outbox.frames(frames(10, 256))
    expect(sizes().slice(2)).toEqual([4, 4, 2])
  })

  it('hold no more reports than the schema allows, and few enough are under way', () => {
    outbox.open(4)
    void outbox.laid(reports(10_000))
    expect(sizes()).toEqual([4_096, 4_096])
    accept(0)
    expect(sizes()).toEqual([4_096, 4_096, 1_808])
  })

  it('keep the order in which things were given, whatever their kind', () => {
    outbox.open(2)
    void outbox.frames(frames(2))
    void outbox.frames(frames(1))
    void outbox.laid(reports(1))
    expect(sent.map(({ type }) => type)).toEqual(['frames'])
    accept(0)
    expect(sent.map(({ type }) => type)).toEqual(['frames', 'frames', 'laid'])
  })

  it('fit a smaller window after a cut', () => {
    outbox.open(8)
    void outbox.frames(frames(8))
    outbox.cut()
    outbox.open(3)
    for (let seq = 1; seq < 4; seq++) expect(accept(seq)).toBe(true)
    expect(sizes()).toEqual([8, 3, 3, 2])
    expect(accept(0)).toBe(false)
  })

  it('stay where they are while the connection takes none', () => {
    takes = false
    outbox.open(8)
    void outbox.frames(frames(3))
    expect(outbox.counts).toEqual({ frames: 3, reports: 0 })
    takes = true
    outbox.open(8)
    expect(sent).toMatchObject([{ seq: 0 }])
  })
})
