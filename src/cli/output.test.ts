// What a command shows: tables, problems for a person and for a program, exit codes, progress that stays out of the result.
import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { Problem } from '../kernel/problem.ts'
import { openOutput, problemText, showFailure, table } from './output.ts'

let out: string
let err: string
beforeEach(() => {
  out = ''
  err = ''
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    out += String(text)
    return true
  })
  vi.spyOn(process.stderr, 'write').mockImplementation((text) => {
    err += String(text)
    return true
  })
})
afterEach(() => {
  vi.restoreAllMocks()
  vi.unstubAllGlobals()
})

const onTerminal = (yes: boolean) => {
  const before = process.stderr.isTTY
  process.stderr.isTTY = yes
  return () => {
    process.stderr.isTTY = before
  }
}

describe('a table', () => {
  it('is as wide as its widest cells, without blanks at the end', () => {
    expect(
      table(
        ['a', 'number'],
        [
          ['longer', 1],
          ['', 22],
        ],
      ),
    ).toBe('a       number\nlonger  1\n        22')
  })
})

describe('a problem for a person', () => {
  it('says code, what, where, how far off', () => {
    const place = { file: 'a.csv', pointer: '/x', row: 3, measured: 7, limit: 5 }
    expect(problemText(new Problem('bad-request', 'too much', place))).toBe(
      'rollcall: bad-request: too much [a.csv /x row 3] (is 7, limit 5)',
    )
    expect(problemText(new Problem('not-found', 'nothing there'))).toBe('rollcall: not-found: nothing there')
    expect(problemText(new Problem('bad-request', 'x', { limit: 5 }))).toBe('rollcall: bad-request: x (limit 5)')
  })

  it('lists each finding below, indented', () => {
    const findings = [
      { code: 'file-extra', message: 'not listed', file: 'b.txt' },
      { code: 'image-size', message: 'too wide', file: 'c.png', pointer: '/designs/0', measured: 10, limit: 9 },
    ] as const
    expect(problemText(new Problem('package-refused', 'two findings', { findings })).split('\n')).toEqual([
      'rollcall: package-refused: two findings',
      '  file-extra at b.txt: not listed',
      '  image-size at c.png /designs/0: too wide (is 10, limit 9)',
    ])
  })

  it('does not say a single finding twice', () => {
    const findings = [{ code: 'bad-request', message: 'is missing', pointer: '/a' }] as const
    expect(problemText(new Problem('bad-request', 'does not fit: /a is missing', { findings }))).toBe(
      'rollcall: bad-request: does not fit: /a is missing',
    )
  })
})

describe('a failure', () => {
  it.each([
    [new Problem('usage', 'wrong call'), 2],
    [new Problem('run-state', 'not now'), 1],
    [new Problem('internal', 'our fault'), 70],
    [new DOMException('interrupted', 'AbortError'), 130],
    [new TypeError('a bug'), 70],
  ])('%s ends with exit code %i and says nothing on standard output', (error, exitCode) => {
    expect(showFailure(error, false)).toBe(exitCode)
    expect(out).toBe('')
    expect(err).toContain(error.message)
  })

  it('shows a stack for a bug alone', () => {
    showFailure(new Problem('internal', 'told by the server'), false)
    expect(err).not.toContain('    at ')
    showFailure(new TypeError('a bug'), false)
    expect(err).toContain('    at ')
  })

  it('is problem details with --json', () => {
    showFailure(new Problem('frame-leap', 'too far', { measured: 9 }), true)
    expect(JSON.parse(err)).toMatchObject({ code: 'frame-leap', status: 409, detail: 'too far', measured: 9 })
  })
})

describe('output', () => {
  it('is text, or JSON alone with --json', () => {
    const text = openOutput(false)
    text.line('on the way')
    text.result({ a: 1 }, 'one')
    expect(out).toBe('on the way\none\n')
    out = ''
    const json = openOutput(true)
    json.line('on the way')
    json.result({ a: 1 }, 'one')
    expect(JSON.parse(out)).toEqual({ a: 1 })
  })
})

describe('progress', () => {
  const at = (ms: number) => vi.spyOn(performance, 'now').mockReturnValue(ms)

  it('goes to standard error, a line every two seconds where no terminal is', () => {
    const undo = onTerminal(false)
    at(0)
    const { progress } = openOutput(false)
    at(1_999)
    progress.show(0.1, 'early')
    at(2_000)
    progress.show(0.5, 'half')
    at(3_000)
    progress.show(0.6, 'soon after')
    progress.done()
    undo()
    expect(err).toBe('[============            ]  50 % half\n')
    expect(out).toBe('')
  })

  it('is drawn in place on a terminal and gone before the next text', () => {
    const undo = onTerminal(true)
    at(0)
    const output = openOutput(false)
    at(100)
    output.progress.show(2, 'over the top')
    expect(err).toContain('100 % over the top')
    expect(err).not.toContain('\n')
    output.line('text')
    undo()
    expect(err.endsWith('\r\u001b[K')).toBe(true)
    expect(out).toBe('text\n')
  })

  it('is silent with --json', () => {
    at(0)
    const { progress } = openOutput(true)
    at(10_000)
    progress.show(0.5, 'half')
    progress.done()
    expect(err + out).toBe('')
  })
})
