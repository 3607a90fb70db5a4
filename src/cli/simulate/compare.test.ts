// Truth against ledgers that are wrong on purpose: each fault is named with its label.
import { beforeEach, describe, expect, it } from 'vitest'
import type { Answer } from '../../protocol/index.ts'
import { compare } from './compare.ts'
import type { DifferenceKind } from './differences.ts'
import type { LineGeometry } from './geometry.ts'
import { type Logbook, openLogbook } from './logbook.ts'
import type { Material } from './material.ts'

const digest = (name: string): string => name.repeat(64).slice(0, 64)
const designAt = (place: number): string => (place % 2 === 0 ? 'a' : 'b')
const textAt = (place: number, cell: number): string => `${designAt(place)}/${place}/${cell}`

const geometry: LineGeometry = {
  pitchMm: 60,
  cells: [1, 2].map((cell) => ({ cell, lane: cell, noReturnAfterMm: 300, lengthMm: 50 })),
  stations: new Map([['inkjet', 100]]),
  lengthMm: 600,
}

const material: Material = {
  frames: 10,
  markMm: (place) => 1_000 + place * 60,
  printedAt: (place) => place,
  spliceAt: () => undefined,
  labelAt: (place, cell) => ({
    text: textAt(place, cell),
    symbology: ']Q1',
    own: { job: 'J', design: designAt(place), version: 1, digests: new Set([digest(designAt(place))]) },
  }),
}

function answerTo(frame: number, cell: number, change: Partial<Answer> = {}): Answer {
  return {
    runId: 'R',
    frame,
    place: frame,
    cell,
    ledgerIndex: frame * 10 + cell,
    decision: 'lay',
    flags: [],
    identity: { job: 'J', design: designAt(frame), text: textAt(frame, cell), version: 1 },
    layers: [
      {
        digest: digest(designAt(frame)),
        layer: 'relief',
        station: 'inkjet',
        order: 1,
        scope: 'cell',
        placement: { leftMm: 0, topMm: 0, widthMm: 1, heightMm: 1 },
      },
    ],
    rotateDeg: 0,
    noReturnMm: 1_300 + frame * 60,
    durability: 'node',
    treeSize: 1,
    root: digest('0'),
    ...change,
  }
}

let book: Logbook
let ledger: Answer[]

// Ten frames of two labels, all sent, accepted, answered `lay` and laid.
beforeEach(() => {
  book = openLogbook(2)
  ledger = []
  for (let frame = 0; frame < 10; frame++) {
    book.trigger(frame, frame)
    book.setFrame(frame, 'accepted')
    for (const cell of [1, 2]) {
      const answer = answerTo(frame, cell)
      ledger.push(answer)
      book.received(frame, cell - 1, answer.ledgerIndex)
      book.laid(frame, cell - 1, answer.ledgerIndex)
    }
  }
})

const replace = (frame: number, cell: number, change: Partial<Answer>): void => {
  ledger[frame * 2 + cell - 1] = answerTo(frame, cell, change)
}

async function differences(isPlanted: (place: number, cell: number) => boolean = () => false) {
  const pageAfter = async (after: number) => ({
    answers: after < 0 ? ledger : [],
    revocations: [],
    cursor: 1_000,
  })
  const compared = await compare({ book, geometry, material, isPlanted, pageAfter }, 9)
  const told = compared.differences.list().map(({ kind, frame, place, cell }) => [kind, frame ?? place, cell])
  return { ...compared, told: told as [DifferenceKind, number, number][] }
}

describe('the comparison', () => {
  it('finds nothing where nothing is wrong', async () => {
    const { told, labels, decisions } = await differences()
    expect(told).toEqual([])
    expect([labels, decisions]).toEqual([
      { all: 20, laid: 20, planted: 0, noLayer: 0 },
      { lay: 20, skip: 0, stop: 0 },
    ])
  })

  it('names a layer of another design, and another code', async () => {
    replace(4, 2, { layers: answerTo(5, 2).layers })
    replace(6, 1, { identity: { job: 'J', design: 'a', text: 'a/99/1', version: 1 } })
    expect((await differences()).told).toEqual([
      ['wrong-lay', 4, 2],
      ['wrong-code', 6, 1],
    ])
  })

  it('names a layer that is wanting, and one too many', async () => {
    const [layer] = answerTo(4, 1).layers
    replace(3, 1, { layers: [] })
    replace(4, 1, { layers: [layer, { ...layer, digest: digest('c') }] as Answer['layers'] })
    expect((await differences()).told).toEqual([
      ['wrong-lay', 3, 1],
      ['wrong-lay', 4, 1],
    ])
  })

  it('names an answer that never came, and a frame that the ledger has no answer to', async () => {
    const answer = answerTo(10, 1)
    ledger.push(answer)
    ledger = ledger.filter(({ frame, cell }) => frame !== 7 || cell !== 2)
    expect((await differences()).told).toContainEqual(['lost-answer', 10, 1])
    expect((await differences()).told).toContainEqual(['lost-answer', 7, 2])
  })

  it('names a label that is answered twice, and one whose answer is another than came', async () => {
    ledger.push(answerTo(2, 1, { ledgerIndex: 500 }))
    replace(5, 1, { ledgerIndex: 501 })
    const { told } = await differences()
    expect(told.filter(([kind]) => kind === 'doubled-answer').map(([, frame]) => frame)).toEqual([2, 2, 5])
  })

  it('names a label that was laid twice under two frames', async () => {
    book.trigger(10, 3)
    book.setFrame(10, 'accepted')
    for (const cell of [1, 2]) {
      const again = answerTo(10, cell, { identity: answerTo(3, cell).identity, layers: answerTo(3, cell).layers })
      ledger.push(again)
      book.received(10, cell - 1, again.ledgerIndex)
    }
    book.laid(10, 1, answerTo(10, 2).ledgerIndex)
    expect((await differences()).told).toEqual([['double-lay', 10, 2]])
  })

  it('names a label that was not laid with the reason, save where the trouble was planted', async () => {
    book = openLogbook(2)
    for (const { frame, cell, ledgerIndex } of ledger) {
      book.trigger(frame, frame)
      book.setFrame(frame, 'accepted')
      book.received(frame, cell - 1, ledgerIndex)
      if (frame !== 4 && frame !== 8) book.laid(frame, cell - 1, ledgerIndex)
    }
    book.skipped(4, 0, 'late')
    replace(4, 2, { decision: 'skip', flags: ['duplicate'], layers: [] })
    const { told, missedBecause, labels } = await differences((place) => place === 8)
    expect(told).toEqual([
      ['missed-lay', 4, 1],
      ['missed-lay', 4, 2],
    ])
    expect(missedBecause).toEqual({ late: 1, duplicate: 1 })
    expect(labels).toMatchObject({ laid: 16, planted: 2 })
  })

  it('names what was laid although it was revoked', async () => {
    replace(1, 1, { revokedBy: 700 })
    expect((await differences()).told).toEqual([['laid-though-revoked', 1, 1]])
  })
})
