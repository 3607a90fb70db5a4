// In whose name acts are done: with a personal key in that person's, and where policy asks for it in the names of two, each with a key
// of their own. What was signed stands in the record.
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { expectProblem } from '../fixtures/conformance.ts'
import { type HouseOptions, type KeyedHouse, openKeyedHouse } from '../fixtures/keyed-house.ts'
import { frameOf, ticketOf } from '../fixtures/live-run.ts'

let house: KeyedHouse
let runId: string
afterEach(() => house.bench.close())

async function open(options: HouseOptions = {}): Promise<void> {
  house = await openKeyedHouse(options)
  runId = house.runs.L7
}

const act = (key: string, name: string, body: object, second?: string) =>
  house.ask(key, 'POST', `/runs/${runId}/${name}`, {
    body,
    headers: second === undefined ? {} : { 'rollcall-second-key': second },
  })

/** The last entry of the run's ledger. */
async function lastEntry(): Promise<Record<string, unknown>> {
  const { text } = await house.ask(house.keys.admin, 'GET', `/runs/${runId}/ledger`)
  return JSON.parse(text.trim().split('\n').at(-1)!).body
}
const code = (reply: Awaited<ReturnType<typeof act>>) =>
  reply.status < 300 ? reply.status : expectProblem(reply, reply.json.instance)

describe('a named act', () => {
  beforeEach(() => open())

  it('with a personal key is in its person’s name, given or left out', async () => {
    const lead = await house.keyOf('F. Lead', 'line', 'L7')
    expect(code(await act(lead.key, 'proving', {}))).toBe(200)
    expect(await lastEntry()).toMatchObject({ to: 'proving', by: 'F. Lead', key: lead.id })
    expect(code(await act(lead.key, 'proving', { by: 'f.  lead' }))).toBe('run-state')
    expect(code(await act(lead.key, 'abort', { by: 'Q. Quinn', why: 'x' }))).toBe('by-differs')
    expect(code(await act(lead.key, 'abort', { why: 'web torn' }))).toBe(200)
    expect(await lastEntry()).toMatchObject({ to: 'aborted', by: 'F. Lead', why: 'web torn', key: lead.id })
  })

  it('with a shared key is in the name that it says, and needs one', async () => {
    const { json } = await act(house.keys.line, 'proving', {})
    expect(json).toMatchObject({ code: 'bad-request', findings: [{ pointer: '/by' }] })
    expect(json.detail).toContain('/by is missing: name who acts, or show a key that was made for a person')
    expect(code(await act(house.keys.line, 'proving', { by: 'F. Lead' }))).toBe(200)
    const entry = await lastEntry()
    const [key] = house.bench.parts.keys.listKeys().filter(({ line }) => line === 'L7')
    expect(entry).toMatchObject({ by: 'F. Lead', key: key?.id })
    expect(entry.second).toBeUndefined()
  })

  it('of the material holds who and with which key', async () => {
    const lead = await house.keyOf('F. Lead', 'line', 'L7')
    await act(lead.key, 'proving', {})
    await house.ask(lead.key, 'POST', `/runs/${runId}/frames`, { body: frameOf(0, [null, null]) })
    expect(code(await act(lead.key, 'material', { event: 'splice', note: 'red tape' }))).toBe(200)
    expect(await lastEntry()).toMatchObject({ event: 'splice', by: 'F. Lead', key: lead.id })
  })

  it('on a version is kept with its key, and told to the runs that it touches', async () => {
    const press = await house.keyOf('P. Press', 'prepress')
    const at = '/jobs/J7/designs/LIME/versions/1/withdraw'
    expect((await house.ask(press.key, 'POST', at, { body: { why: 'wrong allergen' } })).status).toBe(200)
    const rows = house.bench.parts.database.catalogue.selectFrom('acts').selectAll().where('act', '=', 'withdraw')
    expect(await rows.execute()).toMatchObject([{ by: 'P. Press', key: press.id, second: null, secondKey: null }])
    expect(await lastEntry()).toMatchObject({ act: 'withdraw', by: 'P. Press', key: press.id })
  })

  it('names who opened a run, and who published', async () => {
    const lead = await house.keyOf('F. Lead', 'line', 'L7')
    const opened = await house.ask(lead.key, 'POST', '/runs', { body: { ticket: 'T7', line: 'L7' } })
    expect(opened.status).toBe(201)
    runId = opened.json.runId
    expect(await lastEntry()).toMatchObject({ to: 'ready', by: 'F. Lead', key: lead.id })
    const press = await house.keyOf('P. Press', 'prepress')
    const elsewhere = await house.ask(press.key, 'POST', '/packages?by=F.%20Lead', { body: { path: '/none' } })
    expect(elsewhere.json.code).toBe('by-differs')
    expect((await house.ask(press.key, 'POST', '/packages', { body: { path: '/none' } })).json.code).toBe('not-found')
  })

  it('may name a second person though nobody asks for one', async () => {
    expect(code(await act(house.keys.line, 'proving', { by: 'F. Lead', second: 'Q. Quinn' }))).toBe(200)
    expect(await lastEntry()).toMatchObject({ by: 'F. Lead', second: 'Q. Quinn' })
    const quinn = await house.keyOf('Q. Quinn', 'line', 'L7')
    expect(code(await act(house.keys.line, 'abort', { by: 'F. Lead', why: 'x' }, quinn.key))).toBe(200)
    expect(await lastEntry()).toMatchObject({ second: 'Q. Quinn', secondKey: quinn.id })
  })
})

describe('an act that takes two', () => {
  it('takes another person with another key of their own that may do it too', async () => {
    await open({ policy: { twoPersons: ['abort'] } })
    const lead = await house.keyOf('F. Lead', 'line', 'L7')
    const again = await house.keyOf('F. LEAD', 'line', 'L7')
    const mate = await house.keyOf('M. Mate', 'line', 'L7')
    const elsewhere = await house.keyOf('O. Other', 'line', 'L8')
    const press = await house.keyOf('P. Press', 'prepress')
    const why = 'web torn'
    const abort = async (second?: string, body: object = { why }) => code(await act(lead.key, 'abort', body, second))
    expect(await abort()).toBe('second-person-needed')
    expect(await abort(undefined, { why, second: 'M. Mate' })).toBe('second-person-needed')
    expect(await abort(house.keys.line)).toBe('second-person-needed')
    expect(await abort(lead.key)).toBe('second-person-same')
    expect(await abort(again.key)).toBe('second-person-same')
    expect(await abort(elsewhere.key)).toBe('forbidden')
    expect(await abort(press.key)).toBe('forbidden')
    expect(await abort(`${mate.key}0`)).toBe('unauthorized')
    expect(await abort(mate.key, { why, second: 'Q. Quinn' })).toBe('by-differs')
    expect(await lastEntry()).toMatchObject({ to: 'ready' })
    expect(await abort(mate.key)).toBe(200)
    expect(await lastEntry()).toMatchObject({
      to: 'aborted',
      by: 'F. Lead',
      key: lead.id,
      second: 'M. Mate',
      secondKey: mate.id,
    })
  })

  it('with keys that are nobody’s own takes two names too', async () => {
    await open({ policy: { twoPersons: ['release'] } })
    const quinn = await house.keyOf('Q. Quinn', 'prepress')
    const release = (body: object, headers = {}) =>
      house.ask(house.keys.prepress, 'POST', '/packages/J7/1/release', { body: { why: 'x', ...body }, headers })
    const second = { 'rollcall-second-key': quinn.key }
    expect(code(await release({ by: 'P. Press', second: 'Q. Quinn' }))).toBe('second-person-needed')
    expect(code(await release({ by: 'Q. Quinn' }, second))).toBe('second-person-same')
    expect(code(await release({ by: 'P. Press' }, second))).toBe(200)
  })

  it('is one on regulated tickets alone where policy says so', async () => {
    await open({ policy: { twoPersonsRegulated: ['abort', 'override'] }, regulated: true })
    const body = { by: 'F. Lead', why: 'web torn' }
    expect(code(await act(house.keys.line, 'abort', body))).toBe('second-person-needed')
    const order = { ...body, ticket: 'T7', line: 'L7' }
    const openRun = (more: object) => house.ask(house.keys.line, 'POST', '/runs', { body: { ...order, ...more } })
    expect(code(await openRun({ override: true }))).toBe('second-person-needed')
    expect(code(await openRun({}))).toBe(201)
    const plain = await house.ask(house.keys['other-line'], 'POST', `/runs/${house.runs.L8}/abort`, { body })
    expect(plain.status).toBe(200)
  })

  it('stays one when the run goes on with a ticket that is not regulated, since labels of both are on the web', async () => {
    await open({ policy: { twoPersonsRegulated: ['abort'] }, regulated: true })
    const { admin, line } = house.keys
    await house.ask(admin, 'PUT', '/tickets/T7-plain', { body: { ...ticketOf('T7-plain'), regulated: false } })
    const lead = { by: 'F. Lead', why: 'web torn' }
    expect(code(await act(line, 'proving', lead))).toBe(200)
    expect(code(await act(line, 'ticket', { ...lead, ticket: 'T7-plain' }))).toBe(200)
    expect(code(await act(line, 'abort', lead))).toBe('second-person-needed')
  })

  it('is not made one person’s by another spelling of the name', async () => {
    await open({ policy: { twoPersons: ['abort'] } })
    const one = await house.keyOf('J. Strauß', 'line', 'L7')
    for (const spelling of ['J. STRAUSS', 'J. Strau\u200bß', 'J. Strau\u00adß']) {
      const other = await house.keyOf(spelling, 'line', 'L7')
      expect(code(await act(one.key, 'abort', { why: 'web torn' }, other.key))).toBe('second-person-same')
    }
  })

  it('takes two names where no keys are made yet', async () => {
    const { openApiBench } = await import('../fixtures/api.ts')
    await open()
    const bench = await openApiBench({ policy: { twoPersons: ['release'] } })
    try {
      const release = async (body: object) =>
        (await bench.ask('POST', '/api/v1/packages/J7/1/release', { body: { by: 'P. Press', why: 'x', ...body } })).json
          .code
      expect(await release({})).toBe('second-person-needed')
      expect(await release({ second: 'Q. Quinn' })).toBe('package-not-found')
      expect(await release({ second: 'p. press' })).toBe('second-person-same')
    } finally {
      await bench.close()
    }
  })
})
