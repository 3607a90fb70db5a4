// Keys: what they look like, whom they let in, and when they stop to.
import { mkdtemp, rm, stat } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { problemOf } from '../../tests/fixtures/packages.ts'
import { sha256Hex } from '../kernel/bytes.ts'
import { systemRandom } from '../kernel/clock.ts'
import { openSqlite } from '../storage/index.ts'
import type { Database } from '../storage/port.ts'
import { drawKey, readKey, spellKey } from './key-text.ts'
import { type Keys, openKeys } from './keys.ts'
import { readLocalKey, removeLocalKey, writeLocalKey } from './local-key.ts'
import { isSameName } from './names.ts'

let folder: string
let database: Database
let keys: Keys
let nowMs = 1_000_000
const clock = { nowMs: () => nowMs }
const open = (): Promise<Keys> => openKeys({ database, clock, random: systemRandom })
beforeEach(async () => {
  nowMs = 1_000_000
  folder = await mkdtemp(join(tmpdir(), 'rollcall-people-'))
  database = await openSqlite({ folder })
  keys = await open()
})
afterEach(async () => {
  await database.close()
  await rm(folder, { recursive: true })
})

const admin = { role: 'admin', person: 'A. Admin', createdBy: 'test' } as const

describe('the text of a key', () => {
  it('holds 160 random bits behind its id, and reads back', () => {
    const bytes = [5, 20].map((count) => new Uint8Array(count).map((_, i) => (i * 37 + count) & 255))
    const drawn = drawKey(() => bytes.shift()!)
    const text = spellKey(drawn)
    expect(text).toMatch(/^rck-[0-9a-z]{8}-[0-9a-z]{36}$/)
    expect(readKey(text)).toEqual(drawn)
    expect(readKey(text.toUpperCase())).toEqual(drawn)
    // 20 bytes in base 32: RFC 4648 §6 with another alphabet.
    const value = (secret: string): bigint =>
      [...secret].reduce((sum, letter) => sum * 32n + BigInt('0123456789abcdefghjkmnpqrstvwxyz'.indexOf(letter)), 0n)
    expect(value(drawn.secret).toString(16)).toBe(
      Buffer.from(new Uint8Array(20).map((_, i) => (i * 37 + 20) & 255)).toString('hex'),
    )
  })

  it('with any one character changed, left out or swapped with its neighbour is told by its checksum', () => {
    const text = spellKey(drawKey((count) => new Uint8Array(count).map((_, i) => i * 41 + count)))
    const wrong = new Set<string>()
    for (let at = 4; at < text.length; at++) {
      wrong.add(text.slice(0, at) + text.slice(at + 1))
      wrong.add(text.slice(0, at) + text.charAt(at + 1) + text.charAt(at) + text.slice(at + 2))
      for (const letter of '0123456789abcdefghjkmnpqrstvwxyz')
        wrong.add(text.slice(0, at) + letter + text.slice(at + 1))
    }
    wrong.delete(text)
    expect(wrong.size).toBeGreaterThan(1_300)
    expect([...wrong].filter(readKey)).toEqual([])
  })

  it('is read without a fault whatever is sent', () => {
    fc.assert(fc.property(fc.string({ unit: 'binary', maxLength: 200 }), (text) => readKey(text) === undefined))
  })
})

describe('a key', () => {
  it('lets its holder in, after a restart too', async () => {
    const { record, text } = await keys.createKey({ role: 'line', line: 'L7', person: 'F. Lead', createdBy: 'admin' })
    const holder = { id: record.id, role: 'line', line: 'L7', person: 'F. Lead' }
    expect(keys.checkKey(text)).toEqual({ ok: true, holder })
    expect((await open()).checkKey(text)).toEqual({ ok: true, holder })
  })

  it('is stored as the digest of its secret alone, and listed without it', async () => {
    const { record, text } = await keys.createKey(admin)
    const { secret } = readKey(text)!
    const row = await database.catalogue.selectFrom('keys').selectAll().executeTakeFirstOrThrow()
    expect(row.hash).toBe(sha256Hex(secret))
    expect(JSON.stringify(row)).not.toContain(secret)
    expect(keys.listKeys()).toEqual([record])
    expect(JSON.stringify(keys.listKeys())).not.toContain(row.hash)
  })

  it('with another secret, of another installation or mistyped is not known', async () => {
    const { record, text } = await keys.createKey(admin)
    const forged = spellKey({ id: record.id, secret: drawKey(systemRandom).secret })
    expect(keys.checkKey(forged)).toEqual({ ok: false, reason: 'unknown' })
    expect(keys.checkKey(spellKey(drawKey(systemRandom)))).toEqual({ ok: false, reason: 'unknown' })
    for (const wrong of ['', 'rck-', `${text}0`, text.slice(0, -1), ` ${text}`])
      expect(keys.checkKey(wrong)).toEqual({ ok: false, reason: 'malformed' })
  })

  it('ends at its time, to the millisecond', async () => {
    const { text } = await keys.createKey({ ...admin, expiresAtMs: nowMs + 10 })
    nowMs += 9
    expect(keys.checkKey(text)).toMatchObject({ ok: true })
    expect(keys.hasActiveAdmin()).toBe(true)
    nowMs += 1
    expect(keys.checkKey(text)).toEqual({ ok: false, reason: 'expired' })
    expect(keys.hasActiveAdmin()).toBe(false)
    expect(keys.listKeys()).toMatchObject([{ state: 'expired' }])
  })

  it('is good for nothing once it was revoked, and stays so', async () => {
    const { record, text } = await keys.createKey(admin)
    expect(await keys.revokeKey(record.id, 'A. Admin')).toEqual({ outcome: 'revoked' })
    nowMs += 1
    expect(await keys.revokeKey(record.id, 'B. Other')).toEqual({ outcome: 'unchanged' })
    expect(keys.checkKey(text)).toEqual({ ok: false, reason: 'revoked' })
    const again = await open()
    expect(again.checkKey(text)).toEqual({ ok: false, reason: 'revoked' })
    expect(again.listKeys()).toMatchObject([{ state: 'revoked', revokedAtMs: 1_000_000, revokedBy: 'A. Admin' }])
  })

  it('tells only who has all of it that it has ended', async () => {
    const { record } = await keys.createKey(admin)
    await keys.revokeKey(record.id, 'A. Admin')
    const forged = spellKey({ id: record.id, secret: drawKey(systemRandom).secret })
    expect(keys.checkKey(forged)).toEqual({ ok: false, reason: 'unknown' })
  })

  it('that was never made cannot be revoked', async () => {
    expect(await problemOf(keys.revokeKey('none', 'x'))).toMatchObject({ code: 'key-not-found' })
  })

  it.each([
    ['/role', { role: 'boss' }],
    ['/line', { role: 'line' }],
    ['/line', { role: 'qa', line: 'L7' }],
    ['/line', { role: 'line', line: ' ' }],
    ['/person', { person: '' }],
    ['/person', { person: 'x'.repeat(121) }],
    ['/expiresAtMs', { expiresAtMs: 1_000_000 }],
  ])('is not made where %s does not hold together: %o', async (pointer, wrong) => {
    const order = { ...admin, ...wrong } as Parameters<Keys['createKey']>[0]
    expect(await problemOf(keys.createKey(order))).toMatchObject({ code: 'bad-request', place: { pointer } })
    expect(keys.listKeys()).toEqual([])
    expect(keys.isRequired()).toBe(false)
  })
})

describe('keys', () => {
  it('are asked for from the first one on, and still when the last one has ended', async () => {
    expect(keys.isRequired()).toBe(false)
    const { record } = await keys.createKey({ ...admin, expiresAtMs: nowMs + 1 })
    expect(keys.isRequired()).toBe(true)
    await keys.revokeKey(record.id, 'A. Admin')
    nowMs += 5
    expect(keys.isRequired()).toBe(true)
    expect((await open()).isRequired()).toBe(true)
  })
})

describe('the local key', () => {
  const random = systemRandom
  it('lies where its owner alone can read it, and lets them in as admin', async () => {
    const text = await writeLocalKey({ folder, random })
    keys.admitLocal(text)
    expect((await stat(join(folder, 'local.key'))).mode & 0o777).toBe(0o600)
    expect(await readLocalKey(folder)).toBe(text)
    expect(keys.checkKey(text)).toEqual({ ok: true, holder: { id: 'local', role: 'admin' } })
    expect(keys.isRequired()).toBe(false)
    expect(keys.hasActiveAdmin()).toBe(false)
    expect(keys.listKeys()).toEqual([])
  })

  it('is another at every start, and gone at the end', async () => {
    const first = await writeLocalKey({ folder, random })
    const second = await writeLocalKey({ folder, random })
    keys.admitLocal(second)
    expect(keys.checkKey(first)).toEqual({ ok: false, reason: 'unknown' })
    await removeLocalKey(folder)
    expect(await readLocalKey(folder)).toBeUndefined()
  })
})

describe('two names', () => {
  it('that differ in case, spaces or the form of an accent are one', () => {
    expect(isSameName('Zoë  Müller', ' zoe\u0308 mu\u0308LLER ')).toBe(true)
    expect(isSameName('Z. Müller', 'Z. Muller')).toBe(false)
  })

  // Unicode 15, CaseFolding.txt and DerivedCoreProperties.txt (M: from memory).
  it.each([
    ['Strauß', 'STRAUSS'],
    ['STRAUẞ', 'strauss'],
    ['ΝΙΚΟΣ', 'νικος'],
    ['νικοσ', 'ΝΙΚΟΣ'],
    ['Işık', 'IŞIK'],
    ['İbrahim', 'ibrahim'],
    ['Ann\u200be Lee', 'Anne Lee'],
    ['Anne\u00ad Lee', 'ANNE LEE'],
    ['\u202aAnne Lee\u202c', 'Anne Lee'],
    ['Anne \u200b Lee\ufe0f', 'Anne Lee'],
    ['Anne Lee\u0000', 'Anne\tLee'],
    ['Ｆ. Ｌｅａｄ', 'F. Lead'],
    ['ﬁona', 'FIONA'],
    ['e\u200b\u0301va', 'ÉVA'],
  ])('%j and %j are one', (one, other) => {
    expect(isSameName(one, other)).toBe(true)
    expect(isSameName(other, one)).toBe(true)
  })

  it.each([
    ['F. Lead', 'F. Leads'],
    ['AnneLee', 'Anne Lee'],
    ['Öz', 'Oz'],
  ])('%j and %j are two', (one, other) => {
    expect(isSameName(one, other)).toBe(false)
  })
})
