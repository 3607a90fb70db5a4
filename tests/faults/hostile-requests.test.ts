// Bad, huge, broken and hostile requests to a real server: each gets one answer that says what is wrong and where, and leaves nothing
// behind; the server goes on answering others.
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { type HostileHouse, openHostileHouse } from '../fixtures/hostile-house.ts'
import { code, demand, frameOf, ledgerOf, verifyAgainst } from '../fixtures/live-run.ts'
import { openConnection, type RawReply } from '../fixtures/raw-http.ts'
import type { LiveServer, Reply } from '../fixtures/server.ts'

let house: HostileHouse
let server: LiveServer
let runId: string
let refuses: HostileHouse['refuses']
beforeAll(async () => {
  house = await openHostileHouse()
  ;({ server, runId, refuses } = house)
})
afterAll(() => house.close())

const frames = (body: unknown) => (): Promise<Reply> => server.ask('POST', `/runs/${runId}/frames`, { body })
const rawFrames =
  (raw: string | Uint8Array, headers: Record<string, string> = { 'content-type': 'application/json' }) =>
  (): Promise<Reply> =>
    server.ask('POST', `/runs/${runId}/frames`, { raw, headers })

const next = frameOf(10, [code('LIME', 101), code('PLUM', 102)])

describe('a frame', () => {
  it('repeated with other reads, another position or another spacing is a conflict', async () => {
    const [at, other] = [frameOf(5, [code('LIME', 9), code('PLUM', 10)]), code('LIME', 77)]
    await refuses(frames(frameOf(5, [other, code('PLUM', 10)])), {
      code: 'frame-conflict',
      status: 409,
      retry: 'never',
    })
    await refuses(frames({ ...at, reads: [] }), { code: 'frame-conflict', status: 409 })
    await refuses(frames({ ...at, positionMm: 150.5 }), { code: 'frame-conflict', status: 409 })
    await refuses(frames({ ...at, markSpacingMm: 30 }), { code: 'frame-conflict', status: 409 })
    const changed = { ...next, reads: [] }
    await refuses(frames([next, changed]), { code: 'frame-conflict', status: 409, at: '/1' })
  })

  it('that leaps beyond what the web moved is refused, far ones and those in a batch too', async () => {
    await refuses(frames(frameOf(60, [null, null], 300)), { code: 'frame-leap', status: 409, measured: 51 })
    await refuses(frames(frameOf(10, [null, null], 900_000)), { code: 'frame-leap', status: 409 })
    await refuses(frames(frameOf(Number.MAX_SAFE_INTEGER, [null, null], 1e9)), { code: 'frame-leap', status: 409 })
    await refuses(frames([next, frameOf(2_000, [null, null])]), { code: 'frame-leap', status: 409, at: '/1' })
  })

  it('that goes back without having been recorded is refused', async () => {
    await refuses(frames([frameOf(12, [null, null]), frameOf(11, [null, null])]), {
      code: 'frame-order',
      status: 409,
      at: '/1',
      measured: 11,
    })
  })

  it('without a position, or with a wrong type anywhere, is refused with the pointer', async () => {
    await refuses(frames({ frame: 10, reads: [] }), { code: 'bad-request', status: 400, at: '/positionMm' })
    await refuses(frames([next, { frame: 11, reads: [] }]), {
      code: 'bad-request',
      status: 400,
      at: '/1/positionMm',
    })
    await refuses(frames({ ...next, reads: [{ cell: '1', text: null }] }), {
      code: 'bad-request',
      status: 400,
      at: '/reads/0/cell',
    })
    await refuses(frames({ ...next, note: 'x' }), { code: 'bad-request', status: 400, at: '/note' })
    await refuses(frames([]), { code: 'bad-request', status: 400 })
    await refuses(frames(Array.from({ length: 1_025 }, (_, i) => frameOf(10 + i, [null, null]))), {
      code: 'bad-request',
      status: 400,
    })
  })

  it('with numbers that are none, or too large, is refused with the pointer', async () => {
    for (const position of ['1e400', '-1e400', '"NaN"', 'null', '1e10'])
      await refuses(rawFrames(`{"frame":10,"positionMm":${position},"reads":[]}`), {
        code: 'bad-request',
        status: 400,
        at: '/positionMm',
      })
    for (const frame of ['9007199254740992', '-1', '1.5', '1e300'])
      await refuses(rawFrames(`{"frame":${frame},"positionMm":300,"reads":[]}`), {
        code: 'bad-request',
        status: 400,
        at: '/frame',
      })
    for (const position of ['NaN', 'Infinity', '0x10', '01'])
      await refuses(rawFrames(`{"frame":10,"positionMm":${position},"reads":[]}`), {
        code: 'body-not-json',
        status: 400,
      })
  })

  it('with 10,000 reads, an overlong code or half a surrogate pair is refused with the pointer', async () => {
    const reads = Array.from({ length: 10_000 }, () => ({ cell: 1, text: null }))
    await refuses(frames({ ...next, reads }), { code: 'bad-request', status: 400, at: '/reads' })
    for (const text of ['x'.repeat(100_000), '\ud800', 'J7-LIME.01/\udc00'])
      await refuses(frames({ ...next, reads: [{ cell: 1, text }] }), {
        code: 'bad-request',
        status: 400,
        at: '/reads/0/text',
      })
  })

  it('with a cell or lane that the run does not have is refused with the pointer', async () => {
    await refuses(
      frames({
        ...next,
        reads: [
          { cell: 1, text: null },
          { cell: 3, text: null },
        ],
      }),
      {
        code: 'cell-unknown',
        status: 422,
        at: '/reads/1',
        measured: 3,
      },
    )
    await refuses(frames([next, { ...frameOf(11, []), reads: [{ lane: 9, text: null }] }]), {
      code: 'cell-unknown',
      status: 422,
      at: '/1/reads/0',
    })
  })

  it('sent before others, but held up by a repeat that is compared, still comes before them', async () => {
    const connection = await openConnection(server.url)
    const send = (body: unknown): Promise<RawReply> =>
      connection.send({
        method: 'POST',
        target: `/api/v1/runs/${runId}/frames`,
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(body),
      })
    const repeat = frameOf(9, [code('LIME', 17), code('PLUM', 18)])
    const [eleven, twelve, thirteen] = [11, 12, 13].map((frame) => frameOf(frame, [null, code('PLUM', 200 + frame)]))
    const replies = await Promise.all([send([repeat, next]), send(eleven), send([next, twelve]), send(thirteen)])
    expect(replies.map(({ status }) => status)).toEqual([200, 200, 200, 200])
    connection.close()
    const ledger = await ledgerOf(server, runId)
    const recorded = ledger.entries.filter(({ type }) => type === 'frame').map(({ body }) => body.frame)
    expect(recorded).toEqual(Array.from({ length: 14 }, (_, frame) => frame))
    const answers = replies.flatMap(({ json }) => json.answers)
    expect(await verifyAgainst(ledger, answers)).toMatchObject({ ok: true, compared: { answers: 12 } })
  })
})

describe('a laid report', () => {
  it('for a label that was never answered, for another cell, or against an earlier one is refused', async () => {
    const laid = (body: unknown) => (): Promise<Reply> => server.ask('POST', `/runs/${runId}/laid`, { body })
    await refuses(laid({ frame: 99, cell: 1, laid: 'full' }), { code: 'label-not-answered', status: 409 })
    await refuses(laid({ frame: 1, cell: 3, laid: 'full' }), { code: 'cell-unknown', status: 422 })
    await refuses(laid({ frame: 1, cell: 1, laid: 'nearly' }), { code: 'bad-request', status: 400, at: '/laid' })
    const both = [
      { frame: 1, cell: 1, laid: 'full' },
      { frame: 1, cell: 1, laid: 'none' },
    ]
    await refuses(laid(both), { code: 'laid-conflict', status: 409 })
    await demand(laid(both[0])())
    await refuses(laid(both[1]), { code: 'laid-conflict', status: 409, measured: 'none', limit: 'full' })
  })
})

describe('a body', () => {
  it('of 100 MB is refused quickly and takes no memory, whether its length is told or not', async () => {
    const residentBytes = async (): Promise<number> => {
      const { text } = await server.ask('GET', '//metrics')
      return Number(/^rollcall_process_resident_memory_bytes (\S+)$/m.exec(text)![1])
    }
    const startedMs = performance.now()
    const refusal = { code: 'body-too-large', status: 413, limit: 4_194_304 }
    // By a client that looks for no reply before it has sent everything.
    await refuses(rawFrames(Buffer.alloc(100_000_000, ' ')), refusal)
    const before = await residentBytes()
    for (const told of [true, false]) await refuses(() => sendBulk({ bytes: 100_000_000, told }), refusal)
    expect(performance.now() - startedMs).toBeLessThan(10_000)
    expect((await residentBytes()) - before).toBeLessThan(40_000_000)
  })

  it('nested 100,000 deep is refused without being parsed', async () => {
    const deep = `${'['.repeat(100_000)}${']'.repeat(100_000)}`
    await refuses(rawFrames(deep), { code: 'body-too-deep', status: 400, measured: 100_000, limit: 32 })
    await refuses(rawFrames('{"a":'.repeat(100_000)), { code: 'body-too-deep', status: 400 })
  })

  it('that is not JSON, is empty, or is no UTF-8 is refused', async () => {
    for (const raw of ['{"frame":', '', 'frame=1', Uint8Array.of(0x7b, 0xff, 0x7d), '[1,]'])
      await refuses(rawFrames(raw), { code: 'body-not-json', status: 400 })
  })

  it('of another media type is refused', async () => {
    const json = JSON.stringify(next)
    for (const type of ['text/plain', 'application/x-www-form-urlencoded', 'multipart/form-data', 'application/xml'])
      await refuses(rawFrames(json, { 'content-type': type }), {
        code: 'wrong-media-type',
        status: 415,
        measured: type,
      })
    await refuses(rawFrames(Buffer.from(json), {}), { code: 'wrong-media-type', status: 415, measured: 'none' })
    const capture = `/runs/${runId}/captures?frame=20&positionMm=600`
    await refuses(() => server.ask('POST', capture, { raw: 'x', headers: { 'content-type': 'image/gif' } }), {
      code: 'wrong-media-type',
      status: 415,
    })
  })
})

/** Sends a body of spaces as fast as it is taken, and reads the reply meanwhile. */
async function sendBulk({ bytes, told }: { bytes: number; told: boolean }): Promise<RawReply> {
  const connection = await openConnection(server.url)
  const length = told ? `content-length: ${bytes}` : 'transfer-encoding: chunked'
  const head = [`POST /api/v1/runs/${runId}/frames HTTP/1.1`, `host: ${new URL(server.url).host}`]
  connection.write(`${[...head, 'content-type: application/json', length].join('\r\n')}\r\n\r\n`)
  const reply = connection.reply()
  const chunk = Buffer.alloc(100_000, ' ')
  let answered = false
  const stop = (): void => {
    answered = true
  }
  reply.then(stop, stop)
  for (let sent = 0; sent < bytes && !answered && connection.socket.writable; sent += chunk.length) {
    const taken = connection.socket.write(
      told ? chunk : Buffer.concat([Buffer.from('186a0\r\n'), chunk, Buffer.from('\r\n')]),
    )
    if (!taken)
      await Promise.race([reply.catch(() => undefined), new Promise((go) => connection.socket.once('drain', go))])
  }
  return reply.finally(() => connection.close())
}
