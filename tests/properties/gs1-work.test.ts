// How much work a GS1 text makes, counted and not timed: the engine itself counts how often each block of the code ran.
import { type Profiler, Session } from 'node:inspector'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { limits } from '../../src/kernel/limits.ts'

const session = new Session()
const gs = '\u001d'

type Read = typeof import('../../src/codes/gs1/read.ts').readGs1
let readGs1: Read

function post<Result>(method: string, params = {}): Result {
  let answer: unknown
  session.post(method, params, (error, result) => {
    if (error) throw error
    answer = result
  })
  return answer as Result
}

// Blocks are counted in code that is compiled after counting began: the code is loaded only then.
beforeAll(async () => {
  session.connect()
  post('Profiler.enable')
  post('Profiler.startPreciseCoverage', { callCount: true, detailed: true })
  readGs1 = (await import('../../src/codes/gs1/read.ts')).readGs1
})

afterAll(() => session.disconnect())

function blocksRun(work: () => void): number {
  post('Profiler.takePreciseCoverage')
  work()
  const { result } = post<Profiler.TakePreciseCoverageReturnType>('Profiler.takePreciseCoverage')
  const ranges = result
    .filter(({ url }) => url.includes('/codes/gs1/'))
    .flatMap(({ functions }) => functions.flatMap((counted) => counted.ranges))
  return ranges.reduce((sum, { count }) => sum + count, 0)
}

const hostile: Readonly<Record<string, (units: number) => string>> = {
  'one long value': (units) => `99${'A'.repeat(units / 2 - 2)}${gs}98${'A'.repeat(units / 2 - 3)}`,
  'many elements': (units) => `10A${gs}`.repeat(units / 4),
  'many elements of predefined length': (units) => '20'.repeat(units / 2),
  separators: (units) => gs.repeat(units),
  'brackets opened': (units) => '('.repeat(units),
  'brackets around nothing': (units) => '(10)'.repeat(units / 4),
  'brackets escaped': (units) => `(10)${'\\('.repeat(units / 2 - 2)}`,
  'a long host': (units) => `https://${'a'.repeat(units - 8)}`,
  'a long path': (units) => `https://a${'/'.repeat(units - 9)}`,
  'a path of keys': (units) => `https://a${'/01/1'.repeat(units / 5 - 2)}`,
  'a path of qualifiers': (units) => `https://a${'/21/1'.repeat(units / 5 - 2)}`,
  'a query of nothing': (units) => `https://a/01/12312312312333?${'&'.repeat(units - 28)}`,
  'a query of attributes': (units) => `https://a/01/12312312312333?${'99=&'.repeat(units / 4 - 7)}`,
  'percent-encoding': (units) => `https://a/01/12312312312333/10/${'%41'.repeat(units / 3 - 11)}`,
  'needs unmet': (units) => `3920299${gs}`.repeat(units / 8),
  'a coupon': (units) => `8110${'1'.repeat(units - 4)}`,
}

describe('the work on a text', () => {
  it('is counted block by block', () => {
    const loops = (units: number) => blocksRun(() => readGs1(`99${'A'.repeat(units)}`, { pairs: 'ignored' }))
    expect(loops(80) - loops(40)).toBeGreaterThanOrEqual(80)
  })

  it.each(Object.entries(hostile))('grows no faster than the text: %s', (name, textOf) => {
    const run = (units: number) => {
      const text = textOf(units)
      expect(text.length).toBeLessThanOrEqual(limits.codeBytesMax)
      return blocksRun(() => readGs1(text, { human: true }))
    }
    const [short, middle, long] = [run(88), run(128), run(168)]
    console.log(`blocks for 88, 128 and 168 characters, ${name}: ${short}, ${middle}, ${long}`)
    // As many characters more may take as many blocks more, but for what doesn't divide evenly.
    expect(long - middle).toBeLessThanOrEqual(1.1 * (middle - short) + 30)
    expect(long).toBeLessThan(30 * limits.codeBytesMax)
  })

  it('ends at the limit: a million characters take no more than one too many', () => {
    const [over, far] = [limits.codeBytesMax + 1, 1_000_000].map((units) => {
      const text = '9'.repeat(units)
      return blocksRun(() => readGs1(text))
    })
    expect(far).toBeLessThanOrEqual(over!)
  })
})
