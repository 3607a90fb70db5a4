// Which labels are laid: those alone whose valid answer came before their point of no return, from lines that are plainly theirs.
import { describe, expect, it } from 'vitest'
import { answerOf, noReturnAfterMm } from '../../tests/fixtures/paper-line.ts'
import { AnswerBook, type BookOptions } from './answer-book.ts'
import type { DueLabel } from './label.ts'

const cells = [1, 2].map((cell) => ({ cell, noReturnAfterMm }))
const frameAt = (frame: number, positionMm = frame * 30) => ({ frame, positionMm, reads: [] })

function openBook(options: Partial<BookOptions> = {}) {
  const due: DueLabel[] = []
  const book = new AnswerBook({ forgetAfterMm: 1_000, labelsMax: 100, onDue: (label) => due.push(label), ...options })
  book.begin({ pitchMm: 30, cells, cursor: -1 })
  const words = (): string[] =>
    due
      .splice(0)
      .map(({ frame, cell, decision, because }) => `${frame}/${cell} ${decision === 'skip' ? because : 'lay'}`)
  /** A frame that is sent at its position, with an answer to each cell. */
  const answered = (frame: number, more: Parameters<typeof answerOf>[2] = {}): void => {
    book.moveTo(frame * 30)
    book.expect(frameAt(frame))
    for (const cell of [1, 2]) book.take(answerOf(frameAt(frame), cell, more))
  }
  return { book, due, words, answered }
}

describe('a label at its point of no return', () => {
  it('is laid by its answer, and the decision stands from then on', () => {
    const { book, due, words, answered } = openBook()
    answered(0)
    expect(book.decide(0, 1)).toMatchObject({ frame: 0, cell: 1, decision: 'lay' })
    book.moveTo(399.9)
    expect(words()).toEqual([])
    book.moveTo(400)
    expect(due).toMatchObject([
      { noReturnMm: 400, positionMm: 400 },
      { frame: 0, cell: 2 },
    ])
    expect(words()).toEqual(['0/1 lay', '0/2 lay'])
    book.moveTo(900)
    expect(book.decide(0, 1)).toMatchObject({ decision: 'lay' })
    expect(words()).toEqual([])
  })

  it('is skipped where nothing came, and what comes later changes nothing', () => {
    const { book, words } = openBook()
    book.moveTo(0)
    book.expect(frameAt(0))
    book.take(answerOf(frameAt(0), 2))
    book.moveTo(401)
    expect(words()).toEqual(['0/1 no-answer', '0/2 lay'])
    book.take(answerOf(frameAt(0), 1))
    expect(book.decide(0, 1)).toBe('skip')
    expect(words()).toEqual([])
  })

  it('is skipped where the answer says skip or stop, or was revoked in time', () => {
    const { book, words, answered } = openBook()
    answered(0, { decision: 'skip' })
    answered(1, { decision: 'stop' })
    answered(2, { revokedBy: 77 })
    answered(3)
    book.revoke({ runId: 'R1', frame: 3, cell: 1, answer: 31, ledgerIndex: 99, flag: 'withdrawn' })
    for (const frame of [0, 1, 2, 3]) expect(book.decide(frame, 1)).toBe('skip')
    for (const mm of [400, 430, 460, 490]) book.moveTo(mm)
    expect(words()).toEqual([
      ...['0/1 answered', '0/2 answered', '1/1 answered', '1/2 answered'],
      ...['2/1 revoked', '2/2 revoked', '3/1 revoked', '3/2 lay'],
    ])
  })

  it('is skipped where its revocation came before its answer', () => {
    const { book, words } = openBook()
    book.moveTo(0)
    book.revoke({ runId: 'R1', frame: 0, cell: 1, answer: 1, ledgerIndex: 2, flag: 'withdrawn' })
    book.expect(frameAt(0))
    book.take(answerOf(frameAt(0), 1))
    book.moveTo(400)
    expect(words()).toEqual(['0/1 revoked', '0/2 no-answer'])
  })

  it('is decided skip once a revocation came, even behind that point', () => {
    const { book, answered } = openBook()
    answered(0)
    book.moveTo(400)
    book.revoke({ runId: 'R1', frame: 0, cell: 1, answer: 1, ledgerIndex: 9, flag: 'withdrawn' })
    expect(book.decide(0, 1)).toBe('skip')
    expect(book.decide(0, 2)).toMatchObject({ decision: 'lay' })
  })

  it('is skipped where another answer contradicts the first', () => {
    const { book, answered } = openBook()
    answered(0)
    expect(book.take(answerOf(frameAt(0), 1))).toBe('taken')
    expect(book.take(answerOf(frameAt(0), 1, { ledgerIndex: 500 }))).toBe('contradiction')
    expect(book.decide(0, 1)).toBe('skip')
  })

  it('is skipped where positions leap over it', () => {
    const { book, words, answered } = openBook()
    answered(0)
    answered(1)
    book.moveTo(400 + 61)
    expect(words()).toEqual(['0/1 overrun', '0/2 overrun', '1/1 lay', '1/2 lay'])
  })

  it('takes the distance of the answer where it differs from that of the cell', () => {
    const { book, words } = openBook()
    book.moveTo(0)
    book.expect(frameAt(0))
    book.take(answerOf(frameAt(0), 1, { noReturnMm: 350 }))
    book.moveTo(350)
    expect(words()).toEqual(['0/1 lay'])
    book.moveTo(400)
    expect(words()).toEqual(['0/2 no-answer'])
  })
})

describe('what is decided before', () => {
  it('is skip for labels that nobody knows, and while the position is unknown', () => {
    const { book } = openBook()
    expect(book.decide(7, 1)).toBe('skip')
    book.take(answerOf(frameAt(7), 1))
    expect(book.decide(7, 1)).toBe('skip')
    expect(book.decide(7, 1, 300)).toMatchObject({ decision: 'lay' })
    expect(book.decide(7, 1, 210 + 400)).toBe('skip')
  })

  it('is skip for what lies behind the first position ever told', () => {
    const { book, words } = openBook()
    book.take(answerOf(frameAt(0), 1))
    book.take(answerOf(frameAt(10), 1))
    book.moveTo(500)
    expect(words()).toEqual([])
    expect(book.decide(0, 1)).toBe('skip')
    book.moveTo(700)
    expect(words()).toEqual(['10/1 lay'])
  })
})

describe('answers from before the client', () => {
  const begun = () => {
    const due: DueLabel[] = []
    const book = new AnswerBook({ forgetAfterMm: 1_000, labelsMax: 100, onDue: (label) => due.push(label) })
    book.begin({ pitchMm: 30, cells, cursor: 5_000 })
    return { book, due }
  }

  it('lay nothing by themselves: the roll may have been threaded anew', () => {
    const { book, due } = begun()
    book.take(answerOf(frameAt(3), 1))
    book.moveTo(100)
    for (let mm = 120; mm < 900; mm += 20) book.moveTo(mm)
    expect(due).toEqual([])
    expect(book.decide(3, 1)).toBe('skip')
  })

  it('count for frames that are sent again, before or after they come', () => {
    const { book, due } = begun()
    book.moveTo(300)
    book.take(answerOf(frameAt(3), 1))
    book.expect(frameAt(3))
    book.expect(frameAt(4))
    book.take(answerOf(frameAt(4), 1))
    book.moveTo(490)
    book.moveTo(520)
    expect(due.map(({ frame, cell, decision }) => [frame, cell, decision !== 'skip'])).toEqual([
      [3, 1, true],
      [3, 2, false],
      [4, 1, true],
      [4, 2, false],
    ])
  })
})

describe('doubt', () => {
  it('skips what was held, but not what was settled or comes later', () => {
    const { book, words, answered } = openBook()
    answered(0)
    answered(1, { setup: true })
    answered(2)
    book.moveTo(400)
    book.doubt(({ setup }) => setup === true)
    answered(3)
    for (const mm of [430, 460, 490]) book.moveTo(mm)
    expect(words()).toEqual([
      '0/1 lay',
      '0/2 lay',
      '1/1 lay',
      '1/2 lay',
      '2/1 doubted',
      '2/2 doubted',
      '3/1 lay',
      '3/2 lay',
    ])
  })

  it('falls on everything where positions begin anew, and late answers of before are not laid elsewhere', () => {
    const { book, words, answered } = openBook()
    for (let frame = 0; frame < 50; frame++) answered(frame)
    words()
    book.expect(frameAt(50))
    book.moveTo(3)
    // Frames 36 to 50 had their points of no return ahead.
    expect(words()).toHaveLength(15 * 2)
    book.take(answerOf(frameAt(50), 1))
    for (let mm = 20; mm < 2_500; mm += 20) book.moveTo(mm)
    expect(words()).toEqual([])
    expect(book.decide(50, 1, 1_600)).toBe('skip')
  })

  it('does not fall on labels that come again as the web is backed up and goes on', () => {
    const { book, words, answered } = openBook()
    answered(0)
    book.moveTo(390)
    book.moveTo(-500)
    book.moveTo(380)
    book.moveTo(400)
    book.moveTo(350)
    book.moveTo(420)
    expect(words()).toEqual(['0/1 lay', '0/2 lay'])
  })
})

describe('the book', () => {
  it('stays small over a long run, and a repeated frame of long ago is settled no second time', () => {
    const { book, due, answered } = openBook({ labelsMax: 10_000 })
    let largest = 0
    for (let frame = 0; frame < 20_000; frame++) {
      answered(frame)
      largest = Math.max(largest, book.size)
    }
    expect(largest).toBeLessThan(2 * ((1_000 + 400) / 30 + 3))
    expect(due.length).toBeGreaterThan(39_900)
    expect(due.every(({ decision }) => decision !== 'skip')).toBe(true)
    const before = due.length
    book.expect(frameAt(5))
    book.take(answerOf(frameAt(5), 1))
    book.moveTo(20_000 * 30)
    expect(due.slice(before).every(({ frame }) => frame > 19_000)).toBe(true)
    expect(book.decide(5, 1)).toBe('skip')
  })

  it('gives up the oldest labels as skip where positions stand still', () => {
    const { book, words } = openBook({ labelsMax: 4 })
    book.moveTo(0)
    for (const frame of [0, 1, 2]) book.expect(frameAt(frame, 0))
    expect(words()).toEqual(['0/1 no-answer', '0/2 no-answer'])
    expect(book.size).toBe(4)
  })

  it('keeps frames that are sent before the run is known', () => {
    const due: DueLabel[] = []
    const book = new AnswerBook({ forgetAfterMm: 1_000, labelsMax: 3, onDue: (label) => due.push(label) })
    for (const frame of [0, 1, 2, 3]) {
      book.moveTo(frame * 30)
      book.expect(frameAt(frame))
    }
    expect(book.size).toBe(3)
    book.begin({ pitchMm: 30, cells: [{ cell: 1, noReturnAfterMm }], cursor: -1 })
    book.moveTo(490)
    expect(due.map(({ frame, because }) => [frame, because])).toEqual([1, 2, 3].map((frame) => [frame, 'no-answer']))
  })
})
