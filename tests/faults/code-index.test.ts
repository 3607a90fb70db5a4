// Builders of code indexes killed with SIGKILL: an index is there whole or not at all, and rows never stay on disk.
import { mkdir, readdir, stat, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { expect, it } from 'vitest'
import { openCodeIndex } from '../../src/codes/table/open.ts'
import { startFixture, takeLines } from '../contract/fixtures/spawn.ts'
import { randomFrom } from '../drawn-symbols.ts'
import { tableFolder } from '../fixtures/code-tables.ts'

const rows = 40_000
const linesAtMost = 260

it('leave whole indexes under their names and nothing else there, whenever they are killed', {
  timeout: 240_000,
}, async () => {
  const folder = await tableFolder()
  const csvPath = join(folder, 'codes.csv')
  await writeFile(
    csvPath,
    `code,design\n${Array.from({ length: rows }, (_, i) => `QG2608/${i}/code,D${i % 7}\n`).join('')}`,
  )
  const seed = 9
  const random = randomFrom(seed)
  let built = 0
  for (let kill = 0; kill < 8; kill++) {
    const indexes = join(folder, `indexes-${kill}`)
    const temporary = join(folder, `temporary-${kill}`)
    await mkdir(indexes)
    await mkdir(temporary)
    const fixture = startFixture('build-until-killed.ts', csvPath, indexes, temporary)
    const lines = await takeLines(fixture, 1 + Math.floor(random() * linesAtMost))
    lines.push(...(await fixture.kill()))
    const digests = new Map(
      lines.filter((line) => line.includes('built')).map((line) => [`index-${line.split(' ')[0]}`, line.split(' ')[2]]),
    )
    for (const name of await readdir(indexes)) {
      const index = await openCodeIndex(join(indexes, name))
      // The last one may have got its name without having been able to say so.
      expect(index.digest, `${name}, kill ${kill}, seed ${seed}`).toBe(digests.get(name) ?? index.digest)
      expect(index.codes).toBe(rows)
      index.close()
      built++
    }
    expect(await readdir(indexes)).toEqual(expect.arrayContaining([...digests.keys()]))
    // What a killed builder leaves is its folder with an index begun: less than a whole one, and never the rows that it had spilled.
    for (const left of await readdir(temporary)) {
      expect(left).toMatch(/^code-index-/)
      for (const file of await readdir(join(temporary, left))) {
        expect(file).toMatch(/^index-\d$/)
        expect((await stat(join(temporary, left, file))).size).toBeLessThan(3_000_000)
      }
    }
  }
  expect(built).toBeGreaterThan(0)
})
