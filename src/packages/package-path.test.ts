// Names of files that a package may and may not hold.
import { describe, expect, it } from 'vitest'
import { openPathCensus, pathFault } from './package-path.ts'

describe('a path in a package', () => {
  it.each(['job.json', 'layers/lime v1.png', 'a/b/c.tif', 'größe.png', '...png', '.hidden'])('may be %s', (path) => {
    expect(pathFault(path)).toBeUndefined()
  })

  it.each([
    '',
    '/etc/passwd',
    '../x',
    'a/../b',
    'a/./b',
    'a//b',
    'a/',
    'C:x',
    'c:/x',
    'a\\b',
    'a\u0000b',
    'a\nb',
    'a\u007f',
    'a.',
    'a ',
    'a./b',
    'bad\ufffd',
    '\ud800',
    'x'.repeat(256),
    `${'abc/'.repeat(200)}x`,
  ])('may not be %j', (path) => {
    expect(pathFault(path)).toEqual(expect.any(String))
  })

  it('may not clash with another by case or by how accents are encoded', () => {
    const census = openPathCensus()
    expect(census.admit('Lime.png')).toBeUndefined()
    expect(census.admit('lime.PNG')).toMatchObject({ code: 'file-path', file: 'lime.PNG' })
    expect(census.admit('gr\u00f6n.png')).toBeUndefined()
    expect(census.admit('gro\u0308n.png')).toMatchObject({ code: 'file-path' })
    expect(census.admit('Lime.png')).toMatchObject({ message: expect.stringContaining('twice') })
  })
})
