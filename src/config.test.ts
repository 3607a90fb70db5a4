// Configuration: defaults, file, environment, command line, in that order; and what is refused, by where it stands.
import { mkdir, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import path from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { problemOf } from '../tests/fixtures/packages.ts'
import { beyondLoopback, type Config, readConfig } from './config.ts'

let dataFolder: string
let file: string
beforeEach(async () => {
  dataFolder = await mkdtemp(path.join(tmpdir(), 'rollcall-config-'))
  file = path.join(dataFolder, 'config.json')
})
afterEach(() => rm(dataFolder, { recursive: true, force: true }))

const read = (environment: NodeJS.ProcessEnv = {}, given: Partial<Config> = {}) =>
  readConfig({ dataFolder, environment, given })
const write = (value: unknown) => writeFile(file, typeof value === 'string' ? value : JSON.stringify(value))

describe('configuration', () => {
  it('listens on loopback, port 7070, where nothing is said', async () => {
    expect(await read()).toMatchObject({ host: '127.0.0.1', port: 7070, logLevel: 'info' })
  })

  it('takes the file over the defaults, the environment over the file, and the command line over both', async () => {
    await write({ port: 1, logLevel: 'debug', threads: 3 })
    const config = await read({ ROLLCALL_PORT: '2', ROLLCALL_LOG_LEVEL: 'warn' }, { port: 3 })
    expect(config).toMatchObject({ port: 3, logLevel: 'warn', threads: 3 })
  })

  it('knows a variable for every key but readers', async () => {
    const config = await read({
      ROLLCALL_HOST: '::1',
      ROLLCALL_HOSTS: 'rollcall.plant.example, 10.0.0.4',
      ROLLCALL_PORT: '0',
      ROLLCALL_TWO_PERSONS: 'release',
      ROLLCALL_TWO_PERSONS_REGULATED: 'prove,seal',
      ROLLCALL_LOG_LEVEL: 'silent',
      ROLLCALL_THREADS: '2',
      ROLLCALL_INTAKE_RESCAN_MS: '101',
      ROLLCALL_INTAKE_SETTLE_MS: '102',
      ROLLCALL_CAPTURES_RESCAN_MS: '103',
      ROLLCALL_LAYER_SWEEP_MS: '104',
    })
    expect(config).toEqual({
      host: '::1',
      hosts: ['rollcall.plant.example', '10.0.0.4'],
      port: 0,
      twoPersons: ['release'],
      twoPersonsRegulated: ['prove', 'seal'],
      logLevel: 'silent',
      threads: 2,
      intakeRescanMs: 101,
      intakeSettleMs: 102,
      capturesRescanMs: 103,
      layerSweepMs: 104,
      // Said in the file alone.
      readers: [],
      pictureStreams: [],
    })
  })

  it('takes an empty variable for none, never for a zero', async () => {
    expect((await read({ ROLLCALL_PORT: '', ROLLCALL_THREADS: ' ' })).port).toBe(7070)
  })

  it('does without a data directory that is not there yet', async () => {
    await rm(dataFolder, { recursive: true })
    expect((await read()).port).toBe(7070)
  })

  it('cannot be changed afterwards', async () => {
    const config = (await read()) as { port: number }
    expect(() => {
      config.port = 1
    }).toThrow(TypeError)
  })
})

describe('a bad configuration', () => {
  it.each([
    ['{', '', 'not JSON'],
    ['[1]', '', 'expected object, received array'],
    ['null', '', 'expected object, received null'],
    ['{"port":"7070"}', '/port', 'expected number, received string'],
    ['{"port":65536}', '/port', '65535'],
    ['{"logLevel":"loud"}', '/logLevel', 'expected one of'],
    ['{"prot":7070}', '/prot', 'the schema knows no "prot"'],
    ['{"threads":0}', '/threads', '>=1'],
    ['{"hosts":["Plant.example"]}', '/hosts/0', 'lower case'],
    ['{"hosts":["plant.example:443"]}', '/hosts/0', 'without a port'],
    ['{"twoPersons":["frames"]}', '/twoPersons/0', 'expected one of'],
    ['{"twoPersonsRegulated":["release"]}', '/twoPersonsRegulated/0', 'expected one of'],
  ])('in the file, %s, is refused with file and pointer', async (text, pointer, message) => {
    await write(text)
    const problem = await problemOf(read())
    expect(problem).toMatchObject({ code: 'config-bad', message: expect.stringContaining(message), place: { file } })
    expect(problem.place.pointer ?? '').toBe(pointer)
  })

  it('in the file is refused even where the command line overrides it', async () => {
    await write({ port: 'x' })
    expect(await problemOf(read({}, { port: 0 }))).toMatchObject({ code: 'config-bad' })
  })

  it('names all that is wrong with the file', async () => {
    await write({ port: -1, threads: 'many' })
    expect((await problemOf(read())).findings.map(({ pointer }) => pointer)).toEqual(['/port', '/threads'])
  })

  it('is a file that cannot be read', async () => {
    await mkdir(file)
    expect(await problemOf(read())).toMatchObject({ code: 'config-bad', place: { file } })
  })

  it.each([
    ['ROLLCALL_PORT', 'http'],
    ['ROLLCALL_PORT', '1.5'],
    ['ROLLCALL_LOG_LEVEL', 'loud'],
    ['ROLLCALL_THREADS', '65'],
    ['ROLLCALL_LAYER_SWEEP_MS', '1'],
  ])('in the environment, %s=%s, is refused with the name of the variable', async (variable, text) => {
    const problem = await problemOf(read({ [variable]: text }))
    expect(problem).toMatchObject({
      code: 'config-bad',
      message: expect.stringContaining(variable),
      place: { measured: text },
    })
    expect(problem.place.file).toBeUndefined()
  })
})

describe('beyond loopback', () => {
  it.each(['0.0.0.0', '::', '192.168.0.4', 'example.org', '127.0.0.1.example.org', 'LOCALHOST.'])(
    'is %s',
    async (host) => {
      expect(beyondLoopback(await read({}, { host }))).toBe(host)
    },
  )

  it('is a loopback address too, where a proxy has a name for it', async () => {
    await write({ hosts: ['localhost', 'rollcall.plant.example'] })
    expect(beyondLoopback(await read())).toBe('rollcall.plant.example')
  })

  it.each(['127.0.0.1', '::1', 'localhost'])('is not %s', async (host) => {
    expect(beyondLoopback(await read({}, { host }))).toBeUndefined()
  })
})
