// Release, withdrawal and the catalogue that shows them.
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { openPackageBench, type PackageBench, plainDraft, problemOf } from '../../tests/fixtures/packages.ts'
import type { CatalogueChange } from './catalogue.ts'
import { openCatalogue, release, withdraw } from './index.ts'

let bench: PackageBench
beforeEach(async () => {
  bench = await openPackageBench()
  await bench.publish(await plainDraft())
})
afterEach(() => bench.close())

const person = { by: 'Quality', why: 'looked at it' }
const stateOf = (design: string, version = 1) =>
  bench.catalogue
    .current()
    .jobs.get('J7')
    ?.designs.get(design)
    ?.find((one) => one.version === version)?.state

async function publishNext(number: number, version: number): Promise<void> {
  const draft = await plainDraft()
  draft.manifest.package = number
  for (const design of draft.manifest.designs) design.version = version
  await bench.publish(draft)
}

describe('releasing', () => {
  it('a package releases all that it carries, once, with one act', async () => {
    const all = { job: 'J7', what: { package: 1 }, ...person }
    expect(await release(bench.deps, all)).toEqual({
      outcome: 'released',
      versions: [
        { design: 'LIME', version: 1 },
        { design: 'PLUM', version: 1 },
      ],
    })
    expect([stateOf('LIME'), stateOf('PLUM')]).toEqual(['released', 'released'])
    expect(await release(bench.deps, all)).toEqual({ outcome: 'unchanged', versions: [] })
    const acts = await bench.database.catalogue.selectFrom('acts').selectAll().where('act', '=', 'release').execute()
    expect(acts).toMatchObject([{ by: 'Quality', why: 'looked at it', job: 'J7', package: 1, design: null }])
  })

  it('one version leaves the others', async () => {
    await release(bench.deps, { job: 'J7', what: { design: 'PLUM', version: 1 }, ...person })
    expect([stateOf('LIME'), stateOf('PLUM')]).toEqual(['checked', 'released'])
  })

  it('a higher version supersedes the lower one', async () => {
    await release(bench.deps, { job: 'J7', what: { package: 1 }, ...person })
    await publishNext(2, 2)
    expect(stateOf('LIME', 1)).toBe('released')
    await release(bench.deps, { job: 'J7', what: { package: 2 }, ...person })
    expect([stateOf('LIME', 1), stateOf('LIME', 2)]).toEqual(['superseded', 'released'])
  })

  it('what is withdrawn is refused, and nothing of the package is released', async () => {
    await withdraw(bench.deps, { job: 'J7', design: 'LIME', version: 1, ...person })
    const problem = await problemOf(release(bench.deps, { job: 'J7', what: { package: 1 }, ...person }))
    expect(problem).toMatchObject({ code: 'version-state', message: expect.stringContaining('LIME 1') })
    expect(stateOf('PLUM')).toBe('checked')
  })

  it.each([
    [{ package: 9 }, 'package-not-found'],
    [{ design: 'LIME', version: 9 }, 'version-not-found'],
    [{ design: 'NONE', version: 1 }, 'version-not-found'],
  ])('%j is refused with %s', async (what, code) => {
    expect(await problemOf(release(bench.deps, { job: 'J7', what, ...person }))).toMatchObject({ code })
  })

  it('needs name and reason', async () => {
    const what = { package: 1 }
    for (const bad of [
      { by: '', why: 'x' },
      { by: 'x', why: '  ' },
      { by: 'x', why: 'y'.repeat(2_001) },
    ]) {
      expect(await problemOf(release(bench.deps, { job: 'J7', what, ...bad }))).toMatchObject({ code: 'bad-request' })
    }
    expect(stateOf('LIME')).toBe('checked')
  })
})

describe('withdrawing', () => {
  it('is for good, and the listeners hear what was withdrawn when it shows in the catalogue', async () => {
    await release(bench.deps, { job: 'J7', what: { package: 1 }, ...person })
    const heard: CatalogueChange[] = []
    bench.catalogue.onChange((change) => heard.push(change))
    const named = { job: 'J7', design: 'LIME', version: 1, ...person }
    expect(await withdraw(bench.deps, named)).toEqual({ outcome: 'withdrawn' })
    expect(stateOf('LIME')).toBe('withdrawn')
    expect(heard).toHaveLength(1)
    expect(heard[0]!.withdrawn).toEqual([named])
    expect(heard[0]!.catalogue).toBe(bench.catalogue.current())
    expect(await withdraw(bench.deps, named)).toEqual({ outcome: 'unchanged' })
    expect(heard).toHaveLength(1)
  })

  it('a listener that was taken away hears nothing', async () => {
    const heard: CatalogueChange[] = []
    bench.catalogue.onChange((change) => heard.push(change))()
    await withdraw(bench.deps, { job: 'J7', design: 'LIME', version: 1, ...person })
    expect(heard).toEqual([])
  })

  it('what is not there is refused', async () => {
    expect(await problemOf(withdraw(bench.deps, { job: 'J7', design: 'LIME', version: 3, ...person }))).toMatchObject({
      code: 'version-not-found',
    })
  })
})

describe('the catalogue', () => {
  it('opened anew on the same database is the same', async () => {
    await release(bench.deps, { job: 'J7', what: { package: 1 }, ...person })
    await publishNext(2, 2)
    await withdraw(bench.deps, { job: 'J7', design: 'PLUM', version: 1, ...person })
    const again = (await openCatalogue(bench)).current()
    const plain = ({ revision, jobs }: typeof again) => ({
      revision,
      jobs: [...jobs.values()].map(({ rule, designs, ...rest }) => ({
        ...rest,
        carries: rule.carries,
        designs: [...designs],
      })),
    })
    expect(plain(again)).toEqual(plain(bench.catalogue.current()))
    expect(again.revision).toBe(4)
  })

  it('a snapshot that was taken does not change', async () => {
    const before = bench.catalogue.current()
    await publishNext(2, 2)
    expect(before.jobs.get('J7')!.packages).toHaveLength(1)
  })
})
