// Lookups in a code index: what a text can be, what is answered, and memory that is shared and let go of.
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openFrom } from '../../../tests/fixtures/code-tables.ts'
import { collectGarbage } from '../../../tests/fixtures/collect-garbage.ts'
import type { IndexTask } from '../../../tests/fixtures/index-thread.ts'
import { openThreads, type Threads } from '../../queue/index.ts'
import { openCodeIndex } from './open.ts'

const codes = Array.from({ length: 20_000 }, (_, i) => `Q-${(i * 7_919).toString(36)}-${i}`)
const manyRows = `code,design,print,serial\n${codes.map((code, i) => `${code},D${i % 9},0${i % 3},${i}\n`).join('')}`

describe('a text', () => {
  it('is found if its UTF-8 bytes are a code, of whatever planes its characters are', async () => {
    const texts = [
      'é',
      '木',
      '𝌆',
      'a𝌆é木',
      '\u{10FFFF}',
      '\uFFFF',
      '\uFFFD',
      '\u007F\u0080',
      '\u07FF\u0800',
      'x'.repeat(200),
    ]
    const { index } = await openFrom(`code,design\n${texts.map((text, i) => `${text},D${i}\n`).join('')}`)
    expect(texts.map((text) => index.find(text)?.design)).toEqual(texts.map((_, i) => `D${i}`))
  })

  it('with half a character is no code, not even where the table has the sign for that', async () => {
    const { index } = await openFrom('code,design\n\uFFFD,D\na\uFFFDb,D\n𝌆,D\n')
    for (const text of ['\uD834', '\uDF06', 'a\uD834b', '\uD834\uD834', '\uDF06\uD834', '\uD834\u0041']) {
      expect(index.find(text)).toBeUndefined()
    }
  })

  it('is no code where it is empty or longer than codes can be', async () => {
    const longest = 'é'.repeat(100)
    const { index } = await openFrom(`code,design\n${longest},D\n`)
    expect(index.find(longest)).toEqual({ design: 'D' })
    for (const text of ['', `${longest}x`, 'x'.repeat(201), 'x'.repeat(1_000_000), '木'.repeat(67)]) {
      expect(index.find(text)).toBeUndefined()
      expect(index.has(text)).toBe(false)
    }
  })

  it('is the same text however the string came about', async () => {
    const { index } = await openFrom('code,design\nABCDEFGHIJKLMNOPQRSTUVWXYZ,D\n')
    const parts = ['ABCDEFGHIJKLM', 'NOPQRSTUVWXYZ']
    expect(index.has(parts.join(''))).toBe(true)
    expect(index.has(`${parts[0]}${parts[1]}`)).toBe(true)
    expect(index.has('xABCDEFGHIJKLMNOPQRSTUVWXYZx'.slice(1, -1))).toBe(true)
    expect(index.has(Buffer.from('ABCDEFGHIJKLMNOPQRSTUVWXYZ', 'utf16le').toString('utf16le'))).toBe(true)
  })
})

describe('a miss', () => {
  it('allocates nothing', async () => {
    const { index } = await openFrom(manyRows)
    const texts = codes.map((code) => `${code}?`)
    const missAll = (): number => texts.reduce((count, text) => count + (index.find(text) === undefined ? 1 : 0), 0)
    for (let i = 0; i < 20; i++) expect(missAll()).toBe(texts.length)
    collectGarbage()
    const before = process.memoryUsage().heapUsed
    for (let i = 0; i < 10; i++) missAll()
    // 200,000 misses: an object each would be 3 MB at least.
    expect(process.memoryUsage().heapUsed - before).toBeLessThan(400_000)
  })
})

describe('sharing', () => {
  let threads: Threads
  beforeAll(() => {
    threads = openThreads({ script: new URL('../../../tests/fixtures/index-thread.ts', import.meta.url), count: 2 })
  })
  afterAll(() => threads.close())

  it('gives other threads the same answers from the same memory', async () => {
    const { index } = await openFrom(manyRows)
    const texts = [codes[3]!, codes[19_999]!, 'none']
    const shared = index.share()
    const task = (mark: number): IndexTask => ({ shared, texts, mark })
    const answers = texts.map((text) => index.find(text) ?? null)
    expect(answers.filter(Boolean)).toHaveLength(2)
    expect(await threads.run(task(4_711))).toEqual(answers)
    expect(new Uint32Array(shared.chunks[0]!)[0]).toBe(4_711)
    expect(await Promise.all([threads.run(task(1)), threads.run(task(1))])).toEqual([answers, answers])
  })
})

describe('closing', () => {
  it('frees the memory', async () => {
    const { path, built } = await openFrom(
      `code,design\n${Array.from({ length: 60_000 }, (_, i) => `${'x'.repeat(190)}${i},D\n`).join('')}`,
    )
    const settled = async (): Promise<number> => {
      collectGarbage()
      await new Promise((resolve) => setImmediate(resolve))
      collectGarbage()
      return process.memoryUsage().arrayBuffers
    }
    const index = await openCodeIndex(path)
    expect(index.bytes).toBeGreaterThan(0.9 * built.bytes)
    // What building and reading left behind is gone before the first look, so that only the index makes the difference.
    const open = await settled()
    index.close()
    expect(open - (await settled())).toBeGreaterThan(0.9 * built.bytes)
  })

  it('ends lookups, loudly', async () => {
    const { index } = await openFrom('code,design\nA,D\n')
    index.close()
    expect(() => index.find('A')).toThrow('the code index is open')
    expect(() => index.has('A')).toThrow('the code index is open')
    expect(() => index.share()).toThrow('the code index is open')
  })
})
