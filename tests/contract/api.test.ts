// Every route, used as its callers do from a package to its proof; each reply must be one that the route's own description allows.
import { rm, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { zipSync } from 'fflate'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import type { Answer } from '../../src/runs/index.ts'
import { type ApiBench, openApiBench } from '../fixtures/api.ts'
import { type Conformance, documentedIn, openConformance } from '../fixtures/conformance.ts'
import { code, frameOf, lineProfile, pictureOf, ticketOf } from '../fixtures/live-run.ts'
import { draftFiles, plainDraft, writeDraft } from '../fixtures/packages.ts'
import { until } from '../fixtures/server.ts'
import { keySuite } from './api-keys.suite.ts'
import { layersSuite } from './layers.suite.ts'
import { linesSuite } from './lines.suite.ts'
import { recordsSuite } from './records.suite.ts'
import { runActsSuite } from './run-acts.suite.ts'

let bench: ApiBench
let api: Conformance
let folder: string
let runId: string
const by = 'P. Press'

beforeAll(async () => {
  bench = await openApiBench()
  const { json } = await bench.ask('GET', '/api/v1/openapi.json')
  api = openConformance(bench, documentedIn(json))
  folder = path.join(bench.folder, '..', 'package')
  await writeDraft(folder, await plainDraft())
})
afterAll(() => bench.close())

const act = (name: string, body: object = { by }) => api.ok(200, `POST /runs/:runId/${name}`, { runId }, { body })
const frames = (body: unknown) => api.ok(200, 'POST /runs/:runId/frames', { runId }, { body })

describe('packages', () => {
  it('are checked where they lie, and nothing is stored', async () => {
    const options = { body: { path: folder }, headers: { prefer: 'wait=60' } }
    const { json } = await api.ok(200, 'POST /packages/check', {}, options)
    expect(json).toMatchObject({ state: 'done', result: { job: 'J7', package: 1, findings: [] } })
    expect((await api.ok(200, 'GET /jobs')).json).toEqual({ jobs: [] })
  })

  it('are queued where nobody waits, and followed as work', async () => {
    const { json, headers } = await api.ok(202, 'POST /packages/check', {}, { body: { path: folder } })
    expect(headers.get('location')).toBe(`/api/v1/work/${json.id}`)
    await until(async () => (await api.ok(200, 'GET /work/:id', { id: json.id })).json.state === 'done')
    await api.refused('work-state', 'POST /work/:id/cancel', { id: json.id })
    await api.refused('work-state', 'POST /work/:id/requeue', { id: json.id })
    await api.refused('work-not-found', 'GET /work/:id', { id: 'none' })
  })

  it('may be cancelled while their work waits, and put back', async () => {
    // Nobody here does work of this kind.
    const { id } = await bench.parts.queue.enqueue({ id: 'waits', kind: 'idle', payload: {} })
    expect((await api.ok(200, 'POST /work/:id/cancel', { id })).json.state).toBe('cancelled')
    expect((await api.ok(200, 'POST /work/:id/requeue', { id })).json.state).toBe('waiting')
    await api.ok(200, 'POST /work/:id/cancel', { id })
    await api.refused('work-not-found', 'POST /work/:id/cancel', { id: 'none' })
  })

  it('are refused with every finding', async () => {
    const spoiled = path.join(folder, '..', 'spoiled')
    await writeDraft(spoiled, await plainDraft())
    await writeFile(path.join(spoiled, 'extra.txt'), 'x')
    await writeFile(path.join(spoiled, 'LIME/gold.png'), 'x')
    await rm(path.join(spoiled, 'PLUM/gold.png'))
    const options = { query: { by }, body: { path: spoiled }, headers: { prefer: 'wait=60' } }
    const { json } = await api.refused('package-refused', 'POST /packages', {}, options)
    const codes = json.findings.map((finding: { code: string }) => finding.code)
    expect(codes).toEqual(expect.arrayContaining(['file-extra', 'file-digest', 'file-missing']))
    const dead = await api.ok(200, 'GET /work', {}, { query: { state: 'dead', kind: 'publish' } })
    expect(dead.json.work).toHaveLength(1)
    const { id } = dead.json.work[0]
    await api.ok(200, 'POST /work/:id/requeue', { id })
    await until(async () => (await api.ok(200, 'GET /work/:id', { id })).json.state === 'dead')
  })

  it('are published from a ZIP, and a second time change nothing', async () => {
    const raw = zipSync(Object.fromEntries(draftFiles(await plainDraft())))
    const options = { raw, query: { by }, headers: { 'content-type': 'application/zip', prefer: 'wait=60' } }
    expect((await api.ok(200, 'POST /packages', {}, options)).json.result).toMatchObject({ outcome: 'published' })
    expect((await api.ok(200, 'POST /packages', {}, options)).json.result).toMatchObject({ outcome: 'unchanged' })
    const queued = await api.ok(202, 'POST /packages', {}, { query: { by }, body: { path: folder } })
    await until(async () => (await api.ok(200, 'GET /work/:id', { id: queued.json.id })).json.state === 'done')
    expect((await api.ok(200, 'GET /jobs')).json.jobs).toMatchObject([{ job: 'J7', packages: [1], designs: 2 }])
  })

  it('are shown with their designs, facts and previews', async () => {
    const { json } = await api.ok(200, 'GET /jobs/:job', { job: 'J7' })
    expect(json.designs.map(({ design }: { design: string }) => design)).toEqual(['LIME', 'PLUM'])
    const facts = await api.ok(200, 'GET /packages/:job/:package', { job: 'J7', package: 1 })
    expect(facts.json).toMatchObject({ job: 'J7', package: 1, manifest: { job: 'J7' } })
    const at = { job: 'J7', design: 'LIME', version: 1 }
    const preview = 'GET /jobs/:job/designs/:design/versions/:version/preview'
    await until(async () => (await api.call(preview, at)).status === 200)
    await api.refused('version-not-found', preview, { ...at, version: 9 })
    await api.refused('package-not-found', preview, { ...at, job: 'NONE' })
    await api.refused('package-not-found', 'GET /jobs/:job', { job: 'NONE' })
    await api.refused('package-not-found', 'GET /packages/:job/:package', { job: 'J7', package: 9 })
    await api.refused('bad-request', 'GET /packages/:job/:package', { job: 'J7', package: 'x' })
  })

  it('are released as a whole or by version', async () => {
    const one = 'POST /jobs/:job/designs/:design/versions/:version/release'
    const body = { by, why: 'proof approved' }
    const released = await api.ok(200, one, { job: 'J7', design: 'LIME', version: 1 }, { body })
    expect(released.json.released).toEqual([{ design: 'LIME', version: 1 }])
    const rest = await api.ok(200, 'POST /packages/:job/:package/release', { job: 'J7', package: 1 }, { body })
    expect(rest.json.released).toEqual([{ design: 'PLUM', version: 1 }])
    await api.refused('version-not-found', one, { job: 'J7', design: 'LIME', version: 2 }, { body })
    await api.refused('package-not-found', 'POST /packages/:job/:package/release', { job: 'J7', package: 2 }, { body })
    await api.refused('bad-request', one, { job: 'J7', design: 'LIME', version: 1 }, { body: { by } })
  })

  it('are not taken from a place that is no absolute path or is not there', async () => {
    const refused = (code: 'bad-request' | 'not-found', where: string) =>
      api.refused(code, 'POST /packages', {}, { query: { by }, body: { path: where } })
    await refused('bad-request', 'package')
    await refused('not-found', '/none/at/all')
    await api.refused('bad-request', 'POST /packages', {}, { body: { path: folder } })
    const headers = { 'content-type': 'application/x-tar' }
    await api.refused('wrong-media-type', 'POST /packages/check', {}, { raw: 'x', headers })
  })
})

describe('lines and tickets', () => {
  it('are stored under their own names and shown', async () => {
    await api.ok(200, 'PUT /lines/:line', { line: 'L7' }, { body: lineProfile() })
    await api.ok(200, 'PUT /tickets/:ticket', { ticket: 'T7' }, { body: ticketOf('T7') })
    expect((await api.ok(200, 'GET /lines/:line', { line: 'L7' })).json.content.title).toBe('fault line')
    expect((await api.ok(200, 'GET /tickets/:ticket', { ticket: 'T7' })).json.content.roll).toBe('T7-R1')
    expect((await api.ok(200, 'GET /names')).json).toEqual({ lines: ['L7'], tickets: ['T7'] })
  })

  it('are refused with findings, under another name, or where there are none', async () => {
    await api.refused('bad-request', 'PUT /lines/:line', { line: 'L8' }, { body: lineProfile() })
    await api.refused('line-schema', 'PUT /lines/:line', { line: 'L7' }, { body: { ...lineProfile(), colour: 1 } })
    await api.refused('ticket-schema', 'PUT /tickets/:ticket', { ticket: 'T7' }, { body: [] })
    await api.refused('line-not-found', 'GET /lines/:line', { line: 'none' })
    await api.refused('ticket-not-found', 'GET /tickets/:ticket', { ticket: 'none' })
  })

  it('are weighed against each other', async () => {
    const ready = await api.ok(200, 'GET /readiness', {}, { query: { ticket: 'T7', line: 'L7' } })
    expect(ready.json).toMatchObject({ ready: true, blockers: [], warnings: [] })
    const bare = { ...ticketOf('T8'), foils: [] }
    await api.ok(200, 'PUT /tickets/:ticket', { ticket: 'T8' }, { body: bare })
    const { json } = await api.ok(200, 'GET /readiness', {}, { query: { ticket: 'T8', line: 'L7' } })
    expect(json.ready).toBe(false)
    expect(json.blockers).toHaveLength(2)
    await api.refused('ticket-not-found', 'GET /readiness', {}, { query: { ticket: 'none', line: 'L7' } })
    await api.refused('line-not-found', 'GET /readiness', {}, { query: { ticket: 'T7', line: 'none' } })
    await api.ok(200, 'GET /lines/:line/orientation', { line: 'L7' }, { query: { ticket: 'T7' } })
    await api.ok(200, 'POST /lines/:line/order', { line: 'L7' }, { body: { tickets: ['T7', 'T8'] } })
  })

  it('are summed once their layers are read, and what-if stands beside', async () => {
    const sums = 'POST /lines/:line/sums'
    const body = { ticket: 'T7', whatIf: { frames: 1_000, speedMPerMin: 20 } }
    const line = { ...lineProfile(), line: 'L10', speed: { mPerMinMax: 80 } }
    await api.ok(200, 'PUT /lines/:line', { line: 'L10' }, { body: line })
    // A curve that nobody summed through yet.
    const curve = [
      { gray: 0, height: 0 },
      { gray: 1, height: 0.9 },
    ]
    const curved = { ...line, stations: line.stations.map((row) => ({ ...row, curve })) }
    await api.ok(200, 'PUT /lines/:line', { line: 'L10' }, { body: curved })
    const { json: work } = await api.ok(202, sums, { line: 'L10' }, { body })
    await until(async () => (await api.ok(200, 'GET /work/:id', { id: work.id })).json.state === 'done')
    const { json } = await api.ok(200, sums, { line: 'L10' }, { body })
    expect(json.sums).toMatchObject({ ticket: 'T7', line: 'L10', assumed: 'even', unread: [] })
    expect(json.sums.extent).toBeUndefined()
    // 12 × 10 mm at gray 200 of 60 µm, 0.9 of it left by the curve.
    expect(json.sums.designs[0].perLabel).toEqual([
      { station: 'inkjet', fluid: 'varnish', ml: expect.closeTo((120 * 200 * 60 * 0.9e-6) / 255, 9) },
    ])
    expect(json.whatIf.sums.extent).toMatchObject({ frames: 1_000, from: 'what-if' })
    expect(json.whatIf.sums.minutes.mPerMin).toBe(20)
    const bare = { ticket: 'T7', whatIf: { foils: [], speedMPerMin: 500, frames: 10 } }
    const { whatIf } = (await api.ok(200, sums, { line: 'L10' }, { body: bare })).json
    expect(whatIf.blockers[0].code).toBe('foil-not-threaded')
    expect(whatIf.sums.minutes.mPerMin).toBe(whatIf.sums.speed.mPerMin)
    const waited = { body: { ticket: 'T7' }, headers: { prefer: 'wait=60' } }
    expect((await api.ok(200, sums, { line: 'L7' }, waited)).json.sums.line).toBe('L7')
    await api.refused('ticket-not-found', sums, { line: 'L7' }, { body: { ticket: 'none' } })
    await api.refused('line-not-found', sums, { line: 'none' }, { body: { ticket: 'T7' } })
    await api.refused('bad-request', sums, { line: 'L7' }, { body: { ticket: 'T7', whatIf: { speed: 3 } } })
  })
})

linesSuite(() => api)

describe('a run', () => {
  it('opens on a ready ticket, or with an override and its reason', async () => {
    const open = (body: object) => ['POST /runs', {}, { body: { line: 'L7', by, ...body } }] as const
    await api.refused('not-ready', ...open({ ticket: 'T8' }))
    await api.refused('bad-request', ...open({ ticket: 'T8', override: true }))
    const overridden = await api.ok(201, ...open({ ticket: 'T8', override: true, why: 'no foil today' }))
    await api.ok(200, 'POST /runs/:runId/abort', { runId: overridden.json.runId }, { body: { by, why: 'enough' } })
    const { json, headers } = await api.ok(201, ...open({ ticket: 'T7' }))
    runId = json.runId
    expect(headers.get('location')).toBe(`/api/v1/runs/${runId}`)
    await api.refused('ticket-not-found', ...open({ ticket: 'none' }))
    expect((await api.ok(200, 'GET /runs')).json.runs).toMatchObject([{ runId }, { state: 'aborted' }])
  })

  it('takes frames only when proving has begun, and is proved lane by lane', async () => {
    const early = { body: frameOf(0, [null, null]) }
    await api.refused('run-state', 'POST /runs/:runId/frames', { runId }, early)
    await act('proving')
    const { json } = await frames(frameOf(0, [code('LIME', 900_001), code('PLUM', 900_002)]))
    expect(json.answers.map(({ decision, setup }: Answer) => [decision, setup])).toEqual([
      ['lay', true],
      ['lay', true],
    ])
    await api.refused('lanes-not-proved', 'POST /runs/:runId/prove', { runId }, { body: { by, lanes: [1] } })
    expect((await act('prove', { by, lanes: [1, 2] })).json.state).toBe('open')
  })

  it('answers frames, the same again on a repeat, byte for byte', async () => {
    const batch = [frameOf(1, [code('LIME', 1), code('PLUM', 2)]), frameOf(2, [code('LIME', 3), null])]
    const first = await frames(batch)
    expect(first.json).toMatchObject({ accepted: 2, pending: [] })
    const again = await frames(batch)
    expect(JSON.stringify(again.json.answers)).toBe(JSON.stringify(first.json.answers))
    const { json } = await api.ok(200, 'GET /runs/:runId/answers', { runId }, { query: { frame: 1 } })
    expect(json.answers).toEqual(first.json.answers.slice(0, 2))
    await api.refused('not-found', 'GET /runs/:runId/answers', { runId }, { query: { frame: 77 } })
  })

  it('refuses frames that conflict, leap, fall or name what is not there', async () => {
    const refused = (code: 'frame-conflict' | 'frame-leap' | 'frame-order' | 'cell-unknown', body: unknown) =>
      api.refused(code, 'POST /runs/:runId/frames', { runId }, { body })
    await refused('frame-conflict', frameOf(2, [code('LIME', 4), null]))
    await refused('frame-leap', frameOf(900, [null, null], 90))
    await frames(frameOf(4, [code('LIME', 5), code('PLUM', 6)]))
    await refused('frame-order', frameOf(3, [null, null]))
    await refused('cell-unknown', frameOf(5, [null, null, null]))
    await api.refused('run-not-found', 'POST /runs/:runId/frames', { runId: 'none' }, { body: frameOf(0, []) })
  })

  it('says of a bad frame what is bad in it', async () => {
    const bad = [frameOf(5, [null, null]), { frame: -1, positionMm: 'x', reads: [{ text: null, colour: 1 }] }]
    const { json } = await api.refused('bad-request', 'POST /runs/:runId/frames', { runId }, { body: bad })
    expect(json.findings.map(({ pointer }: { pointer: string }) => pointer)).toEqual([
      '/1/frame',
      '/1/positionMm',
      '/1/reads/0/colour',
    ])
  })

  it('reads pictures and gives their answers later', async () => {
    const raw = await pictureOf([code('LIME', 7), code('PLUM', 8)])
    const picture = { raw, query: { frame: 5, positionMm: 150 }, headers: { 'content-type': 'image/png' } }
    const { json } = await api.ok(202, 'POST /runs/:runId/captures', { runId }, picture)
    expect(json.pending).toEqual([5])
    let answers: Answer[] = []
    await until(async () => {
      const page = await api.ok(
        200,
        'GET /runs/:runId/answers',
        { runId },
        { query: { after: json.cursor, limit: 50 } },
      )
      answers = page.json.answers
      return answers.length === 2
    })
    expect(answers.map(({ identity }) => identity?.text)).toEqual([code('LIME', 7), code('PLUM', 8)])
    const again = await api.ok(202, 'POST /runs/:runId/captures', { runId }, picture)
    expect(again.json.answers).toEqual(answers)
  })

  it('refuses a picture without frame or position, of another kind, or of a frame that differs', async () => {
    const post = 'POST /runs/:runId/captures'
    const png = { raw: await pictureOf([null, null]), headers: { 'content-type': 'image/png' } }
    await api.refused('bad-request', post, { runId }, { ...png, query: { frame: 6 } })
    await api.refused('bad-request', post, { runId }, { ...png, query: { frame: 6, positionMm: '' } })
    await api.refused('frame-conflict', post, { runId }, { ...png, query: { frame: 5, positionMm: 150 } })
    const headers = { 'content-type': 'image/gif' }
    const gif = { ...png, headers, query: { frame: 6, positionMm: 180 } }
    expect((await api.refused('wrong-media-type', post, { runId }, gif)).json.limit).toContain('image/png')
  })

  it('keeps laid reports, and refuses another word for the same label', async () => {
    const laid = (body: unknown) => ['POST /runs/:runId/laid', { runId }, { body }] as const
    const full = { frame: 1, cell: 1, laid: 'full' }
    expect((await api.ok(200, ...laid(full))).json).toEqual({ accepted: 1 })
    expect((await api.ok(200, ...laid([full, { frame: 1, cell: 2, laid: 'none' }]))).json).toEqual({ accepted: 2 })
    await api.refused('laid-conflict', ...laid({ ...full, laid: 'part' }))
    await api.refused('label-not-answered', ...laid({ ...full, frame: 99 }))
    await api.refused('cell-unknown', ...laid({ ...full, cell: 9 }))
  })

  it('stops for a cause, and goes on when a named person cleared it', async () => {
    const { json } = await frames(frameOf(6, [code('LIME', 9, '07'), code('PLUM', 10)]))
    expect(json.answers[0]).toMatchObject({ decision: 'stop', flags: ['print-version-mismatch'] })
    const stopped = (await api.ok(200, 'GET /runs/:runId', { runId })).json
    expect(stopped.state).toBe('stopped')
    const clear = { by, why: 'looked', cause: stopped.causes[0].cause, after: 'skip-rest' }
    expect((await act('clear', clear)).json.state).toBe('open')
    await api.refused('cause-not-open', 'POST /runs/:runId/clear', { runId }, { body: clear })
  })

  it('records events of the material, each with what belongs to it', async () => {
    await act('material', { event: 'splice', positionMm: 181, frames: 3, by })
    await act('material', { event: 'foil', station: 'foil', foil: 'gold' })
    const refused = (body: object) => api.refused('bad-request', 'POST /runs/:runId/material', { runId }, { body })
    expect((await refused({ event: 'foil' })).json.findings[0].pointer).toBe('/station')
    await refused({ event: 'splice', station: 'foil' })
    await refused({ event: 'cut' })
  })

  it('revokes what a recall can still keep off the web', async () => {
    const withdraw = 'POST /jobs/:job/designs/:design/versions/:version/withdraw'
    const options = { body: { by, why: 'wrong gloss' } }
    const { json } = await api.ok(200, withdraw, { job: 'J7', design: 'PLUM', version: 1 }, options)
    expect(json).toMatchObject({ outcome: 'withdrawn', runs: [{ runId }] })
    expect(json.runs[0].revoked).toBeGreaterThan(0)
    const page = await api.ok(200, 'GET /runs/:runId/answers', { runId }, { query: { after: -1, limit: 4096 } })
    expect(page.json.revocations).toHaveLength(json.runs[0].revoked)
    expect(json.runs[0].labels.revoked.labels).toBe(json.runs[0].revoked)
    await api.refused('version-not-found', withdraw, { job: 'J7', design: 'PLUM', version: 2 }, options)
    const release = 'POST /jobs/:job/designs/:design/versions/:version/release'
    await api.refused('version-state', release, { job: 'J7', design: 'PLUM', version: 1 }, options)
  })

  it('closes and is sealed', async () => {
    await api.refused('run-state', 'POST /runs/:runId/seal', { runId }, { body: { by } })
    expect((await act('close')).json.state).toBe('closing')
    expect((await act('seal')).json.state).toBe('sealed')
    await api.refused('run-state', 'POST /runs/:runId/abort', { runId }, { body: { by, why: 'x' } })
  })
})

recordsSuite(() => ({ api, runId }))

runActsSuite(() => api)

layersSuite(() => ({ api, folder }))

keySuite(() => ({ bench, api }))

describe('all in all', () => {
  it('every route was asked and answered, and every status that it promises was seen', () => {
    const promised = bench.routes.flatMap(({ method, path: at, returns }) =>
      returns.map(({ status }) => `${method.toUpperCase()} ${at} ${status}`),
    )
    // 101 is the line's socket: line-socket.test.ts.
    const unseen = new Set(promised.filter((name) => !api.seen.has(name) && !name.endsWith(' 101')))
    expect([...unseen]).toEqual([])
  })

  it('nothing was logged as a fault of ours', () => {
    expect(bench.logged).toEqual([])
  })
})
