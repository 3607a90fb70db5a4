// A result file is whole or not there.
import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { problemOf } from '../../tests/fixtures/packages.ts'
import { Problem } from '../kernel/problem.ts'
import { writeOut } from './write-out.ts'

let folder: string
beforeEach(async () => {
  folder = await mkdtemp(path.join(tmpdir(), 'rollcall-out-'))
})
afterEach(() => rm(folder, { recursive: true, force: true }))

async function* parts(...all: (string | Error)[]): AsyncGenerator<string> {
  for (const part of all) {
    if (part instanceof Error) throw part
    yield part
  }
}

describe('writing a result', () => {
  it('replaces what was there when all of it is written', async () => {
    const file = path.join(folder, 'record.csv')
    await writeFile(file, 'earlier')
    await writeOut(file, parts('a', 'b'))
    expect(await readFile(file, 'utf8')).toBe('ab')
    expect(await readdir(folder)).toEqual(['record.csv'])
  })

  it('leaves what was there, and no half, when the source breaks off', async () => {
    const file = path.join(folder, 'record.csv')
    await writeFile(file, 'earlier')
    const broken = new Problem('server-unreachable', 'broke off')
    expect(await problemOf(writeOut(file, parts('a', broken)))).toBe(broken)
    expect(await readFile(file, 'utf8')).toBe('earlier')
    expect(await readdir(folder)).toEqual(['record.csv'])
  })

  it('says which file cannot be written', async () => {
    const file = path.join(folder, 'none', 'record.csv')
    expect(await problemOf(writeOut(file, parts('a')))).toMatchObject({ code: 'usage', place: { file } })
    expect(await problemOf(writeOut(folder, parts('a')))).toMatchObject({ code: 'usage', place: { file: folder } })
    expect(await readdir(path.dirname(folder))).not.toContain(`${path.basename(folder)}.part`)
  })

  it('tells a full disk from a wrong name', async () => {
    const full = Object.assign(new Error('no space left'), { code: 'ENOSPC' })
    expect(await problemOf(writeOut(path.join(folder, 'x'), parts('a', full)))).toMatchObject({ code: 'data-full' })
  })
})
