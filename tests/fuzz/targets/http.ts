// Requests to every route of the HTTP interface: parameters, queries, headers and bodies that fit, nearly fit, and don't.
import { existsSync, readdirSync } from 'node:fs'
import { request as httpRequest } from 'node:http'
import { connect } from 'node:net'
import { join } from 'node:path'
import { setTimeout as pause } from 'node:timers/promises'
import fc from 'fast-check'
import { problemTable } from '../../../src/kernel/problem.ts'
import { draftFiles, grayImage, plainDraft } from '../../fixtures/packages.ts'
import { zipOfFiles } from '../../fixtures/zips.ts'
import { type ByteEdit, byteEdit, editBytes } from '../arbitraries/byte-edits.ts'
import { hostileText, longText } from '../arbitraries/hostile-text.ts'
import { jsonCases, spellJson } from '../arbitraries/json-edits.ts'
import { pngCase, spellPng } from '../arbitraries/png-file.ts'
import { codeOfLabel, type HttpHouse, openHttpHouse, soundFrame, soundLine, soundTicket } from '../http-house.ts'
import { holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

const words = [
  'J7',
  'LIME',
  'T7',
  'L7',
  'full',
  'none',
  'splice',
  're-thread',
  'foil',
  'gold',
  'resume',
  'skip-rest',
  1,
  2,
  30,
  60,
]

/** `undefined` stands for what fits. */
const given = fc.oneof(
  { weight: 8, arbitrary: fc.constant(undefined) },
  { weight: 2, arbitrary: hostileText },
  {
    weight: 1,
    arbitrary: fc.constantFrom('0', '-1', '1e9', '1e400', '9007199254740992', 'NaN', '', ' ', '2', 'constructor'),
  },
)

const body = fc.oneof(
  { weight: 8, arbitrary: fc.constant({ kind: 'sound' as const }) },
  { weight: 10, arbitrary: fc.record({ kind: fc.constant('json' as const), one: jsonCases(words) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant('png' as const), one: pngCase }) },
  {
    weight: 1,
    arbitrary: fc.record({ kind: fc.constant('zip' as const), edits: fc.array(byteEdit, { maxLength: 3 }) }),
  },
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant('raw' as const),
      type: fc.oneof(
        fc.constantFrom('application/json', 'image/png', 'application/zip', 'text/plain', ''),
        hostileText,
      ),
      bytes: fc.uint8Array({ maxLength: 60 }),
    }),
  },
)

const headerValues: readonly (readonly [string, readonly string[]])[] = [
  ['host', ['localhost', 'example.org', '127.0.0.1.example.org', '[::1]:1', '']],
  ['origin', ['http://example.org', 'null', '']],
  ['prefer', ['wait=5', 'wait=5', 'wait=0', 'wait=99999', 'wait=-1', 'respond-async']],
  ['range', ['bytes=0-10', 'bytes=5-', 'bytes=-5', 'bytes=9-1', 'bytes=0-99999999999', 'bytes=0-1,3-4', 'cows=1-2']],
  ['if-range', ['"x"', 'Thu, 01 Jan 1970 00:00:00 GMT']],
  ['if-none-match', ['*', '"x"', 'W/"x"', ',,,']],
  ['content-encoding', ['gzip', 'x']],
  ['transfer-encoding', ['chunked']],
  ['expect', ['100-continue']],
  ['x-http-method-override', ['DELETE']],
  [
    'authorization',
    ['', 'Bearer', 'Bearer x', 'Basic eDp4', `Bearer rck-${'0'.repeat(8)}-${'0'.repeat(36)}`, 'Bearer é'],
  ],
  ['rollcall-second-key', ['', 'x', '\u00ff'.repeat(300)]],
  ['x-forwarded-for', ['192.0.2.1', '']],
]
const headers = fc
  .uniqueArray(fc.tuple(fc.constantFrom(...headerValues), fc.nat(20)), {
    selector: ([[name]]) => name,
    minLength: 1,
    maxLength: 2,
  })
  .map((list) => Object.fromEntries(list.map(([[name, values], i]) => [name, values[i % values.length]!])))

const call = fc.record({
  route: fc.nat(999),
  method: fc.oneof(
    { weight: 12, arbitrary: fc.constant(undefined) },
    { weight: 1, arbitrary: fc.constantFrom('GET', 'POST', 'PUT', 'DELETE', 'HEAD', 'OPTIONS', 'PATCH') },
  ),
  params: fc.array(given, { minLength: 4, maxLength: 4 }),
  query: fc.array(given, { minLength: 4, maxLength: 4 }),
  more: fc.oneof(
    { weight: 8, arbitrary: fc.constant('') },
    { weight: 1, arbitrary: fc.constantFrom('x=1', 'frame=1&frame=2', '__proto__=1', 'a[b]=c', '%', '&&&', '%ff=1') },
  ),
  headers: fc.oneof({ weight: 4, arbitrary: fc.constant({}) }, { weight: 1, arbitrary: headers }),
  body,
})
const rawBytes = fc.record({
  raw: fc.oneof(
    fc
      .array(byteEdit, { minLength: 1, maxLength: 4 })
      .map((edits) =>
        editBytes(Buffer.from('GET /api/v1/runs HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 4\r\n\r\nabcd'), edits),
      ),
    fc
      .constantFrom(
        'GET / HTTP/9.9\r\n\r\n',
        'POST /api/v1/runs HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99\r\n\r\nx',
        `GET /${'a'.repeat(20_000)} HTTP/1.1\r\nHost: localhost\r\n\r\n`,
        'GET /api/v1/runs HTTP/1.1\r\n\r\n',
      )
      .map((text) => Buffer.from(text)),
    longText.map((text) => Buffer.from(text)),
  ),
})
const arbitrary = fc.array(fc.oneof({ weight: 15, arbitrary: call }, { weight: 1, arbitrary: rawBytes }), {
  minLength: 1,
  maxLength: 6,
})
type Call = typeof call extends fc.Arbitrary<infer T> ? T : never

interface Reply {
  readonly status: number
  readonly type: string
  readonly bytes: Buffer
}

interface Sent {
  readonly method: string
  readonly target: string
  readonly headers: Readonly<Record<string, string>>
  readonly body: Buffer | undefined
}

// The server may answer, and close, before all of a body was sent.
function ask(port: number, { method, target, headers: sent, body: bytes }: Sent): Promise<Reply | undefined> {
  return new Promise((resolve, reject) => {
    const request = httpRequest(
      { port, host: '127.0.0.1', method, path: target, headers: sent, agent: false },
      (response) => {
        const chunks: Buffer[] = []
        response.on('data', (chunk: Buffer) => chunks.push(chunk))
        response.on('error', reject)
        response.on('end', () => {
          const type = response.headers['content-type'] ?? ''
          resolve({ status: response.statusCode ?? 0, type, bytes: Buffer.concat(chunks) })
        })
      },
    )
    request.on('error', (error: NodeJS.ErrnoException) => {
      const isCut = ['ECONNRESET', 'EPIPE', 'HPE_INVALID_CONSTANT'].includes(error.code ?? '')
      if (isCut) resolve(undefined)
      else reject(error)
    })
    request.end(bytes)
  })
}

/** Sends bytes that may be no HTTP; whatever comes of it ends. */
function throwAt(port: number, bytes: Uint8Array): Promise<void> {
  return new Promise((resolve) => {
    const socket = connect(port, '127.0.0.1', () => socket.end(bytes))
    socket.on('error', () => undefined)
    socket.on('close', () => resolve())
    socket.resume()
  })
}

/** What fits each parameter by its name. */
function soundParams(house: HttpHouse, runId: string): Readonly<Record<string, string>> {
  const job = house.bench.catalogue.current().jobs.get('J7')
  const layer = job?.designs.get('LIME')?.[0]?.layers[0]
  return {
    runId,
    job: 'J7',
    package: '1',
    design: 'LIME',
    version: '1',
    digest: layer?.sha256 ?? '0'.repeat(64),
    line: 'L7',
    ticket: 'T7',
    by: 'lead',
    text: codeOfLabel('LIME', 1),
    code: codeOfLabel('LIME', 1),
    index: '0',
    frame: '1',
    after: '-1',
    limit: '10',
    count: '10',
    id: 'none',
    format: 'json',
    state: 'dead',
    kind: 'check',
    positionMm: '90',
    with: 'leaf',
    symbology: ']Q1',
  }
}

function soundBodies(next: number): Readonly<Record<string, unknown>> {
  const act = { by: 'lead', why: 'looked at it' }
  return {
    '/runs': { ticket: 'T7', line: 'L7', ...act, override: true },
    '/runs/:runId/frames': [soundFrame(next), soundFrame(next + 1)],
    '/runs/:runId/laid': [{ frame: next - 1, cell: 1, laid: 'none' }],
    '/runs/:runId/material': { event: 'splice', positionMm: 90, by: 'lead', note: 'seen' },
    '/runs/:runId/prove': { ...act, lanes: [1, 2] },
    '/runs/:runId/clear': { ...act, cause: { flag: 'withdrawn', job: 'J7', design: 'PLUM' }, after: 'resume' },
    '/lines/:line': soundLine,
    '/tickets/:ticket': soundTicket,
    '/packages': { path: '/nowhere/at/all' },
    '/packages/check': { path: '/nowhere/at/all' },
    '/codes/read': { path: '/nowhere/at/all.png' },
    other: act,
  }
}

// What is hostile goes encoded as a client would, or as it is where a request can carry it.
const encoded = (text: string): string =>
  /^[!$-;=@-Z_a-z~%]*$/.test(text) ? text : encodeURIComponent(text.toWellFormed())

/** Bodies that are no JSON. */
interface Files {
  readonly zip: Buffer
  readonly picture: Buffer
}

interface Wanted {
  readonly path: string
  readonly sound: unknown
  readonly files: Files
}

function spellBody(one: Call, { path, sound, files }: Wanted): { type: string; bytes: Buffer } {
  switch (one.body.kind) {
    case 'sound':
      if (path.startsWith('/packages')) return { type: 'application/zip', bytes: files.zip }
      if (path.endsWith('/captures')) return { type: 'image/png', bytes: files.picture }
      return { type: 'application/json', bytes: Buffer.from(JSON.stringify(sound)) }
    case 'json':
      return { type: 'application/json', bytes: spellJson(one.body.one, [sound]) }
    case 'png':
      return { type: 'image/png', bytes: spellPng(one.body.one) }
    case 'zip':
      return { type: 'application/zip', bytes: editBytes(files.zip, one.body.edits as readonly ByteEdit[]) }
    case 'raw':
      return { type: one.body.type, bytes: Buffer.from(one.body.bytes) }
  }
}

// A path of this machine in a body would be read in earnest.
function namesAPath(bytes: Buffer): boolean {
  try {
    const path = (JSON.parse(bytes.toString()) as { path?: unknown } | null)?.path
    return typeof path === 'string' && existsSync(path)
  } catch {
    return false
  }
}

async function spellCall(house: HttpHouse, one: Call, files: Files): Promise<Sent | undefined> {
  const run = await house.openRun()
  const route = house.routes[one.route % house.routes.length]!
  const next = run.state.lastFrame + 1
  const isNew = route.path.endsWith('/captures') ? { frame: String(next), positionMm: String(next * 30) } : {}
  const sound: Readonly<Record<string, string>> = { ...soundParams(house, run.runId), ...isNew }
  // A recall is for good, so it is left to one design.
  const fits = (name: string): string =>
    name === 'design' && route.path.endsWith('withdraw') ? 'PLUM' : (sound[name] ?? 'x')
  let part = 0
  const path = route.path.replaceAll(/:(\w+)/g, (_, name: string) => encoded(one.params[part++ % 4] ?? fits(name)))
  const names = Object.keys(route.query?.shape ?? {})
  const query = [...names.map((name, i) => `${name}=${encoded(one.query[i % 4] ?? fits(name))}`), one.more].filter(
    Boolean,
  )
  const bodies = soundBodies(next)
  const { type, bytes } = spellBody(one, { path: route.path, sound: bodies[route.path] ?? bodies.other, files })
  if (/packages|codes\/read/.test(route.path) && namesAPath(bytes)) return undefined
  const takesBody = route.method !== 'get'
  const safe = /^[\t\x20-\x7e]*$/.test(type) ? type : 'x/y'
  return {
    method: one.method ?? route.method.toUpperCase(),
    target: `/api/v1${path}${query.length > 0 ? `?${query.join('&')}` : ''}`,
    headers: {
      ...(takesBody ? { 'content-type': safe } : {}),
      ...(takesBody && !('transfer-encoding' in one.headers) ? { 'content-length': String(bytes.length) } : {}),
      ...one.headers,
    },
    body: takesBody ? bytes : undefined,
  }
}

function judgeReply({ status, type, bytes }: Reply, sent: Sent): string {
  const about = `${sent.method} ${sent.target.slice(0, 200)}: ${status}`
  if (status < 400) return String(status)
  if (sent.method === 'HEAD') return `HEAD ${status}`
  holds(type.startsWith('application/problem+json'), `${about} comes as ${type}`)
  const {
    code,
    detail,
    status: stated,
  } = JSON.parse(bytes.toString()) as { code: string; detail: string; status: number }
  holds(Object.hasOwn(problemTable, code), `${about} has the unknown code ${code}`)
  holds(code !== 'internal' && code !== 'ledger-unavailable', `${about} blames Rollcall: ${detail}`)
  holds(
    problemTable[code as keyof typeof problemTable].status === status && stated === status,
    `${about} is not the status of ${code}`,
  )
  holds(detail.length > 0 && detail.length <= 4_096, `${about}: ${code} says ${detail.length} characters`)
  holds(bytes.length <= 8 * 1024 * 1024, `${about}: a refusal of ${bytes.length} bytes`)
  return code
}

const filesBelow = (folder: string): number =>
  existsSync(folder)
    ? readdirSync(folder, { recursive: true, withFileTypes: true }).filter((entry) => entry.isFile()).length
    : 0

async function judgeHouse(house: HttpHouse): Promise<void> {
  for (let state = await house.queued(); ; state = await house.queued()) {
    holds(state.failed.length === 0, `work failed: ${state.failed.join('; ').slice(0, 1_000)}`)
    if (state.unended === 0) break
    await pause(2)
  }
  const faults = house.faults()
  holds(faults.length === 0, `faults were logged: ${faults.join('\n').slice(0, 4_000)}`)
  const { spool, folder } = house.bench
  holds(filesBelow(spool) === 0, `the spool holds ${readdirSync(spool, { recursive: true }).join(', ')}`)
  holds(filesBelow(join(folder, 'blobs/temporary')) === 0, 'temporary blobs are left')
}

export const httpTarget = defineTarget({
  name: 'http',
  module: import.meta.url,
  about:
    'every route of the HTTP interface: a reply, or problem details that blame the request; no fault logged, nothing left in the spool',
  bounds: { caseCpuMsMax: 8_000, growthMiBMax: 512 },
  cases: { short: 100, long: 1_500 },
  arbitrary,
  meets: ['200', 'bad-request', 'body-not-json', 'wrong-media-type'],
  async open() {
    const house = await openHttpHouse()
    const files: Files = {
      zip: zipOfFiles(draftFiles(await plainDraft())),
      picture: await grayImage({ width: 1000, height: 600 }, () => 200)
        .png()
        .toBuffer(),
    }
    return {
      async run(calls) {
        let answer = 'nothing'
        for (const one of calls) {
          if ('raw' in one) {
            await throwAt(house.port, one.raw)
            continue
          }
          const sent = await spellCall(house, one, files)
          const reply = sent && (await ask(house.port, sent))
          if (reply) answer = judgeReply(reply, sent)
        }
        await judgeHouse(house)
        const alive = await ask(house.port, { method: 'GET', target: '/healthz', headers: {}, body: undefined })
        holds(alive?.status === 200, 'the server is alive')
        return answer
      },
      close: () => house.close(),
    }
  },
})
