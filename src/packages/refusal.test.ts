// Refused drops: where they lie and what is said about them.
import { mkdir, mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { Problem, toProblemDetails } from '../kernel/problem.ts'
import { finishRefusals, moveToRefused, refusalText } from './refusal.ts'

let folder: string
let places: { intake: string; refused: string }
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'rollcall-refusal-'))
  places = { intake: join(folder, 'intake'), refused: join(folder, 'refused') }
  await mkdir(places.intake)
  await mkdir(places.refused)
})
afterEach(() => rm(folder, { recursive: true }))

const problem = toProblemDetails(
  new Problem('package-refused', 'package 3 of J7 has 2 findings and was not published', {
    findings: [
      {
        code: 'file-missing',
        message: 'a.png is listed, but not in the package',
        file: 'a.png',
        pointer: '/designs/0/layers/0/file',
      },
      {
        code: 'image-size',
        message: 'b.png: wrong\u001b[31m size',
        file: 'b.png',
        measured: '2 × 2 px',
        limit: '3.0 × 3.0 px, ± 0.5',
      },
    ],
  }),
)

const drop = (name: string): Promise<void> => writeFile(join(places.intake, name), 'zip')

describe('a refused drop', () => {
  it('lies in a numbered folder with its findings beside it, for a person and for a program', async () => {
    for (const n of [1, 2]) {
      await drop('a.zip')
      expect(await moveToRefused(places, { name: 'a.zip', problem })).toBe(join(places.refused, `a.zip-${n}`))
    }
    expect((await readdir(places.refused)).sort()).toEqual(['a.zip-1', 'a.zip-2'])
    const beside = join(places.refused, 'a.zip-2')
    expect((await readdir(beside)).sort()).toEqual(['a.zip', 'findings.json', 'findings.txt'])
    expect(JSON.parse(await readFile(join(beside, 'findings.json'), 'utf8'))).toEqual(problem)
    expect(await readdir(places.intake)).toEqual([])
  })

  it('that is called like the findings loses nothing', async () => {
    await drop('findings.txt')
    const moved = await moveToRefused(places, { name: 'findings.txt', problem })
    expect((await readdir(moved)).sort()).toEqual(['drop-findings.txt', 'findings.json', 'findings.txt'])
  })

  it('that was half moved when the process died is completed, or begun anew', async () => {
    const [moved, empty] = [join(places.refused, '.refusal-a'), join(places.refused, '.refusal-b')]
    for (const part of [moved, empty]) {
      await mkdir(part)
      await writeFile(join(part, 'findings.txt'), 'x')
    }
    await writeFile(join(moved, 'b.zip'), 'zip')
    await finishRefusals(places.refused)
    expect(await readdir(places.refused)).toEqual(['b.zip-1'])
  })
})

describe('the text of a refusal', () => {
  it('says first what to do, then each finding with its place and sizes', () => {
    const text = refusalText('a.zip', problem)
    expect(text.split('\n').slice(0, 3)).toEqual([
      'Not published: a.zip',
      '',
      'What to do: mend what is listed here, then put the whole package into the intake folder again.',
    ])
    expect(text).toContain('1. file-missing: A file that the manifest lists is not in the package')
    expect(text).toContain('file a.png, in job.json at /designs/0/layers/0/file')
    expect(text).toContain('found 2 × 2 px, allowed 3.0 × 3.0 px, ± 0.5')
  })

  it('shows control characters instead of sending them to a terminal', () => {
    expect(refusalText('a\u001b.zip', problem)).not.toContain('\u001b')
  })

  it('of a problem without findings lists the problem itself', () => {
    const text = refusalText('a.zip', toProblemDetails(new Problem('zip-bad', 'the ZIP cannot be read: cut off')))
    expect(text).toContain('1. zip-bad: The ZIP cannot be read')
  })
})
