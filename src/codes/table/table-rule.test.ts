// The table rule over an index: what matches, what it names, and what prepress is told of designs that no code names.
import { describe, expect, it } from 'vitest'
import { openFrom } from '../../../tests/fixtures/code-tables.ts'
import { tableRule } from './table-rule.ts'

const symbologies = ['data-matrix'] as const
const text = 'code,design,print,serial\nA,Plum,01,1\nB,Plum,02,2\nC,Fig,01,3\n'

describe('a table rule', () => {
  it('matches the codes of its table, whole, and names what the table says', async () => {
    const { index } = await openFrom(text)
    const rule = tableRule({ symbologies, index })
    expect(rule.symbologies).toEqual(['data-matrix'])
    expect(rule.carries).toEqual({ print: true, serial: true })
    expect(rule.match('B')).toEqual({ design: 'Plum', print: '02', serial: '2' })
    expect(rule.match('BB')).toBeUndefined()
    expect(rule.match('')).toBeUndefined()
  })

  it('leaves out what it is told not to carry', async () => {
    const { index } = await openFrom(text)
    const rule = tableRule({ symbologies, index, carries: { print: false, serial: true } })
    expect(rule.match('B')).toEqual({ design: 'Plum', serial: '2' })
    expect(rule.canName({ design: 'Fig', print: '02' })).toBeUndefined()
  })

  it('says why no code names a design or a print version of it', async () => {
    const { index } = await openFrom(text)
    const rule = tableRule({ symbologies, index })
    expect(rule.canName({ design: 'Plum', print: '02' })).toBeUndefined()
    expect(rule.canName({ design: 'Fig' })).toBeUndefined()
    expect(rule.canName({ design: 'Pear' })).toBe('the table has no code of design “Pear”')
    expect(rule.canName({ design: 'Fig', print: '02' })).toBe(
      'the table has no code of design “Fig” with print version “02”',
    )
  })

  it('over a table without print versions can name any of them', async () => {
    const { index } = await openFrom('code,design\nA,Plum\n')
    const rule = tableRule({ symbologies, index })
    expect(rule.carries).toEqual({ print: false, serial: false })
    expect(rule.canName({ design: 'Plum', print: '07' })).toBeUndefined()
  })

  it('over a table with cells matches a code with its cell only', async () => {
    const { index } = await openFrom('code,design,cell\nF,Plum,1\nF,Fig,2\n')
    const rule = tableRule({ symbologies, index })
    expect(rule.match('F', ']d1', 2)).toEqual({ design: 'Fig' })
    expect(rule.match('F', ']d1', 3)).toBeUndefined()
    expect(rule.match('F', ']d1')).toBeUndefined()
  })
})
