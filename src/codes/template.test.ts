// The template rule by examples: what matches, what is refused and where, what can be named.
import { describe, expect, it } from 'vitest'
import { limits } from '../kernel/limits.ts'
import { Problem, type ProblemCode } from '../kernel/problem.ts'
import { compileTemplate } from './template.ts'

const compile = (template: string, job = 'J1') => compileTemplate(template, { job, symbologies: ['qr'] })

function refusal(template: string): Problem {
  try {
    compile(template)
  } catch (error) {
    if (error instanceof Problem) return error
    throw error
  }
  throw new Error(`${template} was not refused`)
}

describe('matching a text against a template', () => {
  const rule = compile('{job}-{design}.{print:2}/{serial:6d}')

  it('names design, print version and serial of a text that matches whole', () => {
    expect(rule.match('J1-mango.p1/000123')).toEqual({ design: 'mango', print: 'p1', serial: '000123' })
  })

  it.each([
    ['of another job', 'J2-mango.p1/000123'],
    ['with a print version of other width', 'J1-mango.p10/000123'],
    ['with a letter among the digits', 'J1-mango.p1/00012x'],
    ['with a digit too many', 'J1-mango.p1/0001234'],
    ['with a digit too few', 'J1-mango.p1/00012'],
    ['with something before', ' J1-mango.p1/000123'],
    ['with something behind', 'J1-mango.p1/000123 '],
    ['with an empty design', 'J1-.p1/000123'],
    ['with other case', 'j1-mango.p1/000123'],
    ['that is empty', ''],
  ])('does not match a text %s', (_, text) => {
    expect(rule.match(text)).toBeUndefined()
  })

  it('ends an open field at the first occurrence of the next literal', () => {
    expect(compile('{design}.{serial}').match('a.b.c')).toEqual({ design: 'a', serial: 'b.c' })
    expect(compile('{design}--{serial}').match('a---7')).toEqual({ design: 'a', serial: '-7' })
    expect(compile('{design}.').match('a.b.')).toBeUndefined()
  })

  it('lets a field of fixed width hold the next literal', () => {
    expect(compile('{print:2}/{design}').match('///x')).toEqual({ print: '//', design: 'x' })
  })

  it('cuts fields of fixed width from both sides of an open one', () => {
    const both = compile('{print:2}{design}{serial:3d}')
    expect(both.match('p1mango007')).toEqual({ print: 'p1', design: 'mango', serial: '007' })
    expect(both.match('p1007')).toBeUndefined()
    expect(compile('{design}{serial:2d}/{_}').match('ab12/c/d')).toEqual({ design: 'ab', serial: '12' })
  })

  it('takes digits alone for an open digit field', () => {
    const digits = compile('{design}#{serial:d}')
    expect(digits.match('a#0042')).toEqual({ design: 'a', serial: '0042' })
    expect(digits.match('a#42b')).toBeUndefined()
    expect(digits.match('a#٤٢')).toBeUndefined()
  })

  it('leaves ignored fields out of the identity', () => {
    expect(compile('{_:3}{design}?{_}').match('xyzmango?tail')).toEqual({ design: 'mango' })
  })

  it('reads doubled braces as braces', () => {
    expect(compile('{{{design}}}').match('{mango}')).toEqual({ design: 'mango' })
  })

  it('takes the job name literally, whatever it holds', () => {
    expect(compile('{job}/{design}', 'a{b}').match('a{b}/x')).toEqual({ design: 'x' })
  })

  it.each([
    ['a group separator', 'a\u001db'],
    ['a line feed', 'a\nb'],
    ['a C1 control', 'a\u0085b'],
    ['a character beyond the basic plane', 'a😀b'],
    ['half of a surrogate pair', 'a\ud800b'],
  ])('does not match %s within a field', (_, text) => {
    expect(compile('{design}').match(text)).toBeUndefined()
  })

  it('matches control and other characters that stand in its literals', () => {
    expect(compile('é\u001d😀{design:1}').match('é\u001d😀ü')).toEqual({ design: 'ü' })
  })

  it('counts the limit of a text in bytes', () => {
    const open = compile('{design}')
    expect(open.match('a'.repeat(limits.codeBytesMax))).toBeDefined()
    expect(open.match('a'.repeat(limits.codeBytesMax + 1))).toBeUndefined()
    expect(open.match('é'.repeat(limits.codeBytesMax / 2))).toBeDefined()
    expect(open.match('é'.repeat(limits.codeBytesMax / 2 + 1))).toBeUndefined()
  })

  it('says what its codes carry', () => {
    expect(rule.carries).toEqual({ print: true, serial: true })
    expect(compile('{job}/{design}').carries).toEqual({ print: false, serial: false })
  })
})

describe('a template that is refused', () => {
  it.each<[string, ProblemCode, number]>([
    ['', 'template-field', 1],
    ['{design', 'template-syntax', 1],
    ['ab{design', 'template-syntax', 3],
    ['{design}}', 'template-syntax', 9],
    ['}{design}', 'template-syntax', 1],
    ['{design:0}', 'template-syntax', 1],
    ['{design:}', 'template-syntax', 1],
    ['{design:2x}', 'template-syntax', 1],
    ['{design:-1}', 'template-syntax', 1],
    ['{design:1000}', 'template-syntax', 1],
    ['{ design }', 'template-syntax', 1],
    ['{}', 'template-syntax', 1],
    ['x{lot}{design}', 'template-field', 2],
    ['{design}-{job:2}', 'template-field', 10],
    ['{design}-{design}', 'template-field', 10],
    ['{job}-{serial}', 'template-field', 1],
    [`{design}${'-{_}'.repeat(limits.templateFieldsMax)}`, 'template-field', 9 + limits.templateFieldsMax * 4 - 3],
    [`${'x'.repeat(limits.templateTextMax)}{design}`, 'template-syntax', limits.templateTextMax + 1],
    ['{design}\ud800', 'template-syntax', 1],
    ['{design}{serial}', 'template-ambiguous', 9],
    ['{design}{print:2}{serial:d}', 'template-ambiguous', 18],
    ['{design}/{_}{_}', 'template-ambiguous', 13],
  ])('%j is refused as %s at column %i', (template, code, column) => {
    const problem = refusal(template)
    expect(problem.code).toBe(code)
    expect(problem.message).toContain(`column ${column}:`)
  })

  it('shows both readings of one text when it is ambiguous', () => {
    expect(refusal('J-{design}{serial}').message).toContain(
      '“J-111” is design “11”, serial “1” or design “1”, serial “11”',
    )
  })

  it('is refused when no code is long enough for it', () => {
    const problem = refusal('{design}{serial:200d}')
    expect(problem.code).toBe('template-syntax')
    expect(problem.place).toEqual({ measured: 201, limit: limits.codeBytesMax })
  })
})

describe('whether a design can be named', () => {
  const rule = compile('{job}-{design}.{print:2}/{serial:6d}')

  it('finds no reason against what a code can carry', () => {
    expect(rule.canName({ design: 'mango' })).toBeUndefined()
    expect(rule.canName({ design: 'man-go', print: 'p1' })).toBeUndefined()
  })

  it.each([
    [{ design: 'man.go' }, 'contains or runs into “.”'],
    [{ design: 'mango', print: 'p10' }, 'exactly 2'],
    [{ design: '' }, 'empty'],
    [{ design: 'man\tgo' }, 'no field takes'],
    [{ design: 'm'.repeat(190) }, 'longer than 200 bytes'],
  ])('names the reason against %j', (named, reason) => {
    expect(rule.canName(named)).toContain(reason)
  })

  it('names the reason where a design runs into the literal behind it', () => {
    expect(compile('{design}--{serial}').canName({ design: 'a-' })).toContain('runs into “--”')
  })

  it('names a design that is no digits where the template wants digits', () => {
    expect(compile('{design:3d}').canName({ design: '12a' })).toContain('not digits alone')
  })

  it('takes any print version where the code carries none', () => {
    expect(compile('{design}').canName({ design: 'a', print: 'anything at all' })).toBeUndefined()
  })

  it('fills digit fields so that they do not make the next literal by chance', () => {
    expect(compile('{design}{serial:3d}0/{_}').canName({ design: 'a' })).toBeUndefined()
  })
})
