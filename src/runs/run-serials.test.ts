// Duplicates: serials that other runs laid.
import { afterEach, describe, expect, it } from 'vitest'
import { type Bench, code, event, openBench, short } from '../../tests/fixtures/runs.ts'

let bench: Bench
afterEach(() => bench.close())

describe('duplicates across runs', () => {
  const serialOf = async (run: Awaited<ReturnType<Bench['openProved']>>, frame: number, texts: (string | null)[]) =>
    short((await run.frames([event(frame, texts)])).answers)

  it('knows what another run that is open laid in the same pass', async () => {
    bench = await openBench()
    const first = await bench.openProved()
    await serialOf(first, 1, [code('A', 1), code('B', 2)])
    const second = await bench.openProved()
    expect(await serialOf(second, 1, [code('A', 1), code('B', 3)])).toEqual(['skip duplicate', 'lay'])
    expect(await serialOf(first, 2, [code('B', 3), code('B', 4)])).toEqual(['skip duplicate', 'lay'])
  })

  it('knows what an ended run laid, after a restart and with its snapshot or without', async () => {
    bench = await openBench()
    const first = await bench.openProved()
    await serialOf(first, 1, [code('A', 1), code('B', 2)])
    await first.laid([{ frame: 1, cell: 2, laid: 'none' }])
    await first.close({ by: 'lead' })
    await first.seal({ by: 'lead' })
    await bench.restart()
    const second = await bench.openProved()
    expect(await serialOf(second, 1, [code('A', 1), code('B', 2)])).toEqual(['skip duplicate', 'lay'])
    await bench.database.catalogue.deleteFrom('meta').where('key', 'like', 'serials/%').execute()
    await bench.restart()
    const again = await bench.runs.get(second.runId)
    expect(await serialOf(again, 2, [code('A', 1), code('B', 5)])).toEqual(['skip duplicate', 'lay'])
  })

  it('does not hold set-up labels against a label', async () => {
    bench = await openBench()
    const first = await bench.openProved()
    await serialOf(first, 1, [code('A', 1), code('B', 2)])
    const second = await bench.openProved()
    expect(await serialOf(second, 1, [code('A', 900_001), code('B', 900_002)])).toEqual(['lay', 'lay'])
  })

  it('does not hold another pass against a label', async () => {
    bench = await openBench()
    const first = await bench.openProved()
    await serialOf(first, 1, [code('A', 1), code('B', 2)])
    const third = await bench.openProved({ ticket: { pass: 2 } })
    expect(await serialOf(third, 1, [code('A', 1), code('B', 2)])).toEqual(['lay', 'lay'])
  })
})
