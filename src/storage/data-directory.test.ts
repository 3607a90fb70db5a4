// The data directory: its layout, its format, and one process at a time.
import { mkdir, mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect, it } from 'vitest'
import { startFixture, takeLines } from '../../tests/contract/fixtures/spawn.ts'
import { dataPaths, openDataDirectory } from './data-directory.ts'

let parent: string
let root: string

beforeEach(async () => {
  parent = await mkdtemp(join(tmpdir(), 'rollcall-data-'))
  root = join(parent, 'deep', 'data')
})
afterEach(() => rm(parent, { recursive: true }))

const contents = async (folder: string) => (await readdir(folder)).sort()

it('creates the whole layout, with keys that others cannot enter', async () => {
  const directory = await openDataDirectory(root)
  expect(directory.paths).toEqual(dataPaths(root))
  expect(await contents(root)).toEqual(
    ['blobs', 'captures', 'db', 'format', 'intake', 'keys', 'refused', 'spool'].sort(),
  )
  expect(await contents(join(root, 'blobs'))).toEqual(['sha256', 'temporary'])
  expect(await readFile(join(root, 'format'), 'utf8')).toBe('1\n')
  expect((await stat(directory.paths.keys)).mode & 0o777).toBe(0o700)
  await directory.release()
})

it('leaves what is there as it is', async () => {
  await (await openDataDirectory(root)).release()
  const { config, intake } = dataPaths(root)
  await writeFile(config, '{"port":1}')
  await writeFile(join(intake, 'job.json'), 'x')
  await (await openDataDirectory(root)).release()
  expect(await readFile(config, 'utf8')).toBe('{"port":1}')
  expect(await contents(intake)).toEqual(['job.json'])
})

it('removes the address that a dead server left', async () => {
  await (await openDataDirectory(root)).release()
  await writeFile(dataPaths(root).server, '{}')
  await (await openDataDirectory(root)).release()
  expect(await contents(dataPaths(root).db)).not.toContain('server.json')
})

it('refuses a newer format and touches nothing', async () => {
  await mkdir(root, { recursive: true })
  await writeFile(join(root, 'format'), '2\n')
  await expect(openDataDirectory(root)).rejects.toMatchObject({ code: 'data-format', place: { measured: 2, limit: 1 } })
  expect(await contents(root)).toEqual(['format'])
})

it('refuses a format file that holds no number', async () => {
  await mkdir(root, { recursive: true })
  await writeFile(join(root, 'format'), 'one')
  await expect(openDataDirectory(root)).rejects.toMatchObject({ code: 'data-unusable' })
})

it('refuses a path that is a file', async () => {
  await mkdir(join(parent, 'deep'))
  await writeFile(root, '')
  await expect(openDataDirectory(root)).rejects.toMatchObject({ code: 'data-unusable', place: { file: root } })
})

it('lets one opener in at a time, and the next one after its release', async () => {
  const first = await openDataDirectory(root)
  await writeFile(first.paths.server, '{}')
  await expect(openDataDirectory(root)).rejects.toMatchObject({ code: 'data-in-use' })
  expect(await contents(first.paths.db)).toContain('server.json')
  await first.release()
  await (await openDataDirectory(root)).release()
})

it('keeps other processes out, and lets them in when the holder is killed', async () => {
  const holder = startFixture('hold-directory.ts', root)
  await takeLines(holder, 1)
  await expect(openDataDirectory(root)).rejects.toMatchObject({ code: 'data-in-use' })
  await holder.kill()
  await (await openDataDirectory(root)).release()
})
