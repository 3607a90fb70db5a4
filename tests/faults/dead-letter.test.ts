// Queued work on the running server: killed in the middle it is done all the same, once; what failed for good is seen and can be put back.
import { readdir, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Answer } from '../../src/runs/index.ts'
import { code, demand, labelsAnswered, ledgerOf, pictureOf, provedRun, verifyAgainst } from '../fixtures/live-run.ts'
import { type Draft, draftFiles, plainDraft, writeDraft } from '../fixtures/packages.ts'
import { type LiveServer, rollcall, startServer, temporaryFolder, until } from '../fixtures/server.ts'
import { zipOfFiles } from '../fixtures/zips.ts'

let folder: string
let server: LiveServer
beforeEach(async () => {
  folder = await temporaryFolder('work')
  await start()
})
afterEach(async () => {
  await server.kill()
  await rm(folder, { recursive: true, force: true })
})

async function start(): Promise<void> {
  server = await startServer({ dataFolder: join(folder, 'data'), environment: { ROLLCALL_THREADS: '1' } })
}

interface Work {
  readonly id: string
  readonly state: string
  readonly progress: number
  readonly attempts: number
  readonly result?: { outcome: string }
  readonly error?: { code: string; findings?: { code: string }[] }
}

const workOf = async (id: string): Promise<Work> =>
  (await demand(server.ask('GET', `/work/${encodeURIComponent(id)}`))).json

async function endOf(id: string): Promise<Work> {
  let work = await workOf(id)
  await until(async () => {
    work = await workOf(id)
    return ['done', 'dead', 'cancelled'].includes(work.state)
  }, 60_000)
  return work
}

/** `plainDraft` with many designs, so that a check takes a while. */
async function largeDraft(designs: number): Promise<Draft> {
  const draft = await plainDraft()
  const [first] = draft.manifest.designs
  for (let i = 0; i < designs; i += 1) {
    const layers = first!.layers.map((layer) => ({ ...layer, file: layer.file.replace('LIME', `D${i}`) }))
    for (const layer of layers) draft.files.set(layer.file, draft.files.get(layer.file.replace(`D${i}`, 'LIME'))!)
    draft.manifest.designs.push({ ...first!, design: `D${i}`, layers })
  }
  return draft
}

const spooled = async (): Promise<string[]> =>
  (await readdir(join(folder, 'data/spool'), { recursive: true })).filter((name) => name !== 'staging')

describe('work under way when the server is killed', () => {
  it('a package that is uploaded and being checked is published once, however often that happens', async () => {
    const zip = zipOfFiles(draftFiles(await largeDraft(60)))
    const headers = { 'content-type': 'application/zip' }
    const { json: queued } = await demand(server.ask('POST', '/packages?by=tester', { raw: zip, headers }))
    for (const share of [0, 0.4]) {
      await until(async () => {
        const { state, progress } = await workOf(queued.id)
        if (state === 'done') throw new Error('the package was published before the server could be killed')
        return state === 'running' && progress >= share
      })
      await server.kill()
      await start()
      expect((await server.ask('GET', '/jobs')).json.jobs).toEqual([])
    }
    expect(await endOf(queued.id)).toMatchObject({ state: 'done', attempts: 3, result: { outcome: 'published' } })
    // Sent again, as by somebody who had no reply: the upload is another, the package is the same.
    const { json: again } = await demand(server.ask('POST', '/packages?by=tester', { raw: zip, headers }))
    expect(await endOf(again.id)).toMatchObject({ state: 'done', result: { outcome: 'unchanged' } })
    expect((await server.ask('GET', '/jobs')).json.jobs).toMatchObject([{ job: 'J7', packages: [1], designs: 62 }])
    expect(await spooled()).toEqual([])
  }, 120_000)

  it('a check keeps its upload until it is done', async () => {
    const zip = zipOfFiles(draftFiles(await largeDraft(40)))
    const headers = { 'content-type': 'application/zip' }
    const { json: queued } = await demand(server.ask('POST', '/packages/check', { raw: zip, headers }))
    await until(async () => (await workOf(queued.id)).progress > 0.2)
    // In an orderly way: the try that is broken off does not count.
    expect(await server.stop()).toBe(0)
    await start()
    const work = await endOf(queued.id)
    expect(work, JSON.stringify(work.error)).toMatchObject({ state: 'done', attempts: 1, result: { findings: [] } })
    expect(await spooled()).toEqual([])
  }, 120_000)

  it('an upload that nobody waits for is cleared away', async () => {
    await server.kill()
    await writeFile(join(folder, 'data/spool/upload-0.zip'), 'half an upload')
    await start()
    expect(await spooled()).toEqual([])
  })

  it('pictures being read are read again, and each label is answered once', async () => {
    const { runId } = await provedRun(server)
    const count = 8
    const pictures = await Promise.all(
      Array.from({ length: count + 1 }, (_, i) => pictureOf([code('LIME', 10 + i), code('PLUM', 100 + i)])),
    )
    const post = (frame: number): Promise<unknown> =>
      demand(
        server.ask('POST', `/runs/${runId}/captures?frame=${frame}&positionMm=${frame * 30}`, {
          raw: pictures[frame - 1]!,
          headers: { 'content-type': 'image/png' },
        }),
      )
    for (let frame = 1; frame <= count; frame += 1) await post(frame)
    await until(async () => (await server.ask('GET', '/work?kind=read-capture&state=running')).json.work.length > 0)
    await server.kill()
    // While the server is down one picture is swapped for another, and one is lost.
    const waiting = (await readdir(join(folder, 'data/captures', runId))).toSorted()
    expect(waiting.length).toBe(count)
    await writeFile(join(folder, 'data/captures', runId, waiting[6]!), pictures[count]!)
    await rm(join(folder, 'data/captures', runId, waiting[7]!))
    await start()

    let answers: Answer[] = []
    await until(async () => {
      answers = (await server.ask('GET', `/runs/${runId}/answers?after=-1&limit=4096`)).json.answers
      return answers.length === (count + 1) * 2
    })
    const read = answers.filter(({ frame }) => frame >= 1 && frame <= 6)
    expect(read.map(({ identity }) => identity?.text)).toEqual(
      [0, 1, 2, 3, 4, 5].flatMap((i) => [code('LIME', 10 + i), code('PLUM', 100 + i)]),
    )
    const unread = answers.filter(({ frame }) => frame > 6)
    expect(unread.map(({ flags }) => flags)).toEqual([['no-read'], ['no-read'], ['no-read'], ['no-read']])
    const ledger = await ledgerOf(server, runId)
    expect(await verifyAgainst(ledger, answers)).toMatchObject({ ok: true })
    expect(new Set(labelsAnswered(ledger)).size).toBe(labelsAnswered(ledger).length)
    const { json: dead } = await server.ask('GET', '/work?state=dead')
    expect(dead.work.map(({ id }: Work) => id).toSorted()).toEqual([`read:${runId}:7`, `read:${runId}:8`])
    await demand(server.ask('POST', `/runs/${runId}/close`, { body: { by: 'lead' } }))
  }, 120_000)
})

describe('dead work', () => {
  let broken: string
  let draft: Draft
  let id: string
  beforeEach(async () => {
    broken = join(folder, 'package')
    draft = await plainDraft()
    await writeDraft(broken, draft)
    await rm(join(broken, 'PLUM/gold.png'))
    const { json } = await demand(server.ask('POST', '/packages?by=tester', { body: { path: broken } }))
    id = json.id
    expect(await endOf(id)).toMatchObject({ state: 'dead', attempts: 1, error: { code: 'package-refused' } })
  })

  it('is seen over HTTP and on the command line, with what it failed by, after a restart too', async () => {
    await server.kill()
    await start()
    const { json } = await server.ask('GET', '/work?state=dead')
    expect(json).toMatchObject({
      counts: { dead: 1, waiting: 0, running: 0 },
      work: [{ id, kind: 'publish', error: { code: 'package-refused', findings: [{ code: 'file-missing' }] } }],
    })
    const { code: exit, stdout } = await rollcall(join(folder, 'data'), 'work', '--state', 'dead')
    expect(exit).toBe(0)
    expect(stdout).toContain(id)
    expect(stdout).toContain('1 finding')
    const { stdout: text } = await rollcall(join(folder, 'data'), '--json', 'work', '--state', 'dead')
    expect(JSON.parse(text).work).toEqual(json.work)
  })

  it('is put back over HTTP and done once its cause is mended; not twice', async () => {
    const requeue = () => server.ask('POST', `/work/${id}/requeue`)
    expect(await requeue()).toMatchObject({ status: 200, json: { id, state: 'waiting', attempts: 0 } })
    // Nothing was mended: it dies of the same cause.
    expect(await endOf(id)).toMatchObject({ state: 'dead', attempts: 1, error: { code: 'package-refused' } })
    await writeDraft(broken, draft)
    await demand(requeue())
    const done = await endOf(id)
    expect(done).toMatchObject({ state: 'done', attempts: 1, result: { outcome: 'published' } })
    expect(done.error).toBeUndefined()
    expect(await requeue()).toMatchObject({ status: 409, json: { code: 'work-state', measured: 'done' } })
    expect((await server.ask('GET', '/work?state=dead')).json.work).toEqual([])
  })

  it('is put back by the command line, with a running server and without', async () => {
    const requeue = () => rollcall(join(folder, 'data'), 'work', '--requeue', id)
    expect(await requeue()).toMatchObject({ code: 0, stdout: `${id} is waiting\n` })
    expect(await endOf(id)).toMatchObject({ state: 'dead' })
    await writeDraft(broken, draft)
    expect(await server.stop()).toBe(0)
    expect(await requeue()).toMatchObject({ code: 0, stdout: `${id} is waiting\n` })
    await start()
    expect(await endOf(id)).toMatchObject({ state: 'done', result: { outcome: 'published' } })
    expect(await requeue()).toMatchObject({ code: 1, stderr: expect.stringContaining('work-state') })
  })
})
