// The keys of people and line controllers: made once, shown once, looked up in memory on every request.
import { timingSafeEqual } from 'node:crypto'
import { sha256 } from '../kernel/bytes.ts'
import type { Clock, RandomBytes } from '../kernel/clock.ts'
import { limits } from '../kernel/limits.ts'
import { Problem } from '../kernel/problem.ts'
import type { Database } from '../storage/port.ts'
import { drawKey, readKey, spellKey } from './key-text.ts'
import { type Role, roles } from './roles.ts'

/** Whose a key is: what requests are judged by. */
export interface Holder {
  /** Id of the key, or `local` for the key that lies in the data directory. */
  readonly id: string
  readonly role: Role
  /** Of a personal key: who acts with it. A key without one is shared, such as a controller's. */
  readonly person?: string
  /** Of role `line`: the only line that it is good for. */
  readonly line?: string
}

export interface KeyRecord extends Holder {
  readonly createdAtMs: number
  readonly createdBy: string
  readonly expiresAtMs?: number
  readonly revokedAtMs?: number
  readonly revokedBy?: string
  readonly state: 'active' | 'expired' | 'revoked'
}

/** What came of looking a key up. Only who has the whole key hears that it has expired or was revoked. */
export type KeyVerdict =
  | { readonly ok: true; readonly holder: Holder }
  | { readonly ok: false; readonly reason: 'malformed' | 'unknown' | 'expired' | 'revoked' }

export interface KeyOrder {
  readonly role: Role
  readonly person?: string | undefined
  readonly line?: string | undefined
  /** UTC ms; absent: never. */
  readonly expiresAtMs?: number | undefined
  readonly createdBy: string
}

export interface Keys {
  /** Makes a key; `text` is its only copy. Problem `bad-request` for an order that does not hold together. */
  createKey(order: KeyOrder): Promise<{ readonly record: KeyRecord; readonly text: string }>
  /** All keys ever made, newest first, without their secrets. */
  listKeys(): readonly KeyRecord[]
  /** Good for nothing from the moment this resolves. Problem `key-not-found`. */
  revokeKey(id: string, revokedBy: string): Promise<{ readonly outcome: 'revoked' | 'unchanged' }>
  /** Takes some microseconds; expiry and revocation count at once. */
  checkKey(text: string): KeyVerdict
  /** Whether requests need a key: from the first one made on, for good, since the last one's expiry must open no door. */
  isRequired(): boolean
  hasActiveAdmin(): boolean
  /** Lets a key in that stands in no table: the one in the data directory. */
  admitLocal(text: string): void
}

interface Held {
  readonly record: Omit<KeyRecord, 'state'>
  /** SHA-256 of the secret. */
  readonly hash: Uint8Array
}

interface KeysParts {
  readonly database: Pick<Database, 'catalogue'>
  readonly clock: Pick<Clock, 'nowMs'>
  readonly random: RandomBytes
}

// A slow hash guards what people make up. 160 random bits cannot be found by trying, however fast the hash; and a slow one would
// cost every frame of a line its answer.
const hashOf = (secret: string): Uint8Array => sha256(secret)
const nobody = new Uint8Array(32)

function present<T extends object>(row: T): { [K in keyof T]?: Exclude<T[K], null | undefined> } {
  return Object.fromEntries(Object.entries(row).filter(([, value]) => value != null)) as never
}

function refuse(pointer: string, detail: string): never {
  throw new Problem('bad-request', detail, { pointer })
}

const isName = (text: string | undefined): boolean =>
  text === undefined ||
  (text.trim() === text && text.length > 0 && text.length <= limits.nameLengthMax && text.isWellFormed())

function demandSound({ role, person, line, expiresAtMs, createdBy }: KeyOrder, nowMs: number): void {
  if (!roles.includes(role)) refuse('/role', `there is no role ${role}; there are ${roles.join(', ')}`)
  if (role === 'line' && line === undefined) refuse('/line', 'a key of role line names its line')
  if (role !== 'line' && line !== undefined) refuse('/line', `a key of role ${role} is not for one line`)
  if (!isName(line)) refuse('/line', `a line has 1 to ${limits.nameLengthMax} characters`)
  if (!isName(person)) refuse('/person', `a person has a name of 1 to ${limits.nameLengthMax} characters`)
  if (!isName(createdBy)) refuse('/by', `who makes a key has a name of 1 to ${limits.nameLengthMax} characters`)
  if (expiresAtMs !== undefined && expiresAtMs <= nowMs) refuse('/expiresAtMs', 'the key would have expired already')
}

async function load({ database }: KeysParts): Promise<Map<string, Held>> {
  const rows = await database.catalogue.selectFrom('keys').selectAll().orderBy('createdAtMs').execute()
  return new Map(
    rows.map(({ hash, ...row }) => [
      row.id,
      { record: present(row) as unknown as Held['record'], hash: Buffer.from(hash, 'hex') },
    ]),
  )
}

function stateOf({ expiresAtMs, revokedAtMs }: Held['record'], nowMs: number): KeyRecord['state'] {
  if (revokedAtMs !== undefined) return 'revoked'
  return expiresAtMs !== undefined && expiresAtMs <= nowMs ? 'expired' : 'active'
}

const holderOf = ({ id, role, person, line }: Holder): Holder => ({
  id,
  role,
  ...(person === undefined ? {} : { person }),
  ...(line === undefined ? {} : { line }),
})

async function store({ database }: KeysParts, { record, hash }: Held): Promise<void> {
  const { id, role, person = null, line = null, createdAtMs, createdBy, expiresAtMs = null } = record
  const row = { id, role, person, line, createdAtMs, createdBy, expiresAtMs, revokedAtMs: null, revokedBy: null }
  await database.catalogue
    .insertInto('keys')
    .values({ ...row, hash: Buffer.from(hash).toString('hex') })
    .execute()
}

/**
 * Opens the keys of a data directory. All of them are held in memory: this process holds the directory, so nobody else changes them.
 * A way in for browsers (sessions) would be another source of `Holder`s, beside `checkKey`.
 */
export async function openKeys(parts: KeysParts): Promise<Keys> {
  const held = await load(parts)
  let local: { readonly id: string; readonly hash: Uint8Array } | undefined
  const nowMs = (): number => parts.clock.nowMs()
  const shown = ({ record }: Held): KeyRecord => ({ ...record, state: stateOf(record, nowMs()) })
  return {
    async createKey(order) {
      demandSound(order, nowMs())
      const drawn = drawKey(parts.random)
      const { role, person, line, expiresAtMs, createdBy } = order
      const record = present({ id: drawn.id, role, person, line, expiresAtMs, createdBy, createdAtMs: nowMs() })
      const made: Held = { record: record as Held['record'], hash: hashOf(drawn.secret) }
      await store(parts, made)
      held.set(drawn.id, made)
      return { record: shown(made), text: spellKey(drawn) }
    },
    listKeys: () => [...held.values()].map(shown).toReversed(),
    async revokeKey(id, revokedBy) {
      const found = held.get(id)
      if (!found) throw new Problem('key-not-found', `there is no key ${id}`)
      if (found.record.revokedAtMs !== undefined) return { outcome: 'unchanged' }
      const revokedAtMs = nowMs()
      await parts.database.catalogue.updateTable('keys').set({ revokedAtMs, revokedBy }).where('id', '=', id).execute()
      held.set(id, { ...found, record: { ...found.record, revokedAtMs, revokedBy } })
      return { outcome: 'revoked' }
    },
    checkKey(text) {
      const given = readKey(text)
      if (!given) return { ok: false, reason: 'malformed' }
      if (local?.id === given.id && timingSafeEqual(local.hash, hashOf(given.secret)))
        return { ok: true, holder: { id: 'local', role: 'admin' } }
      const found = held.get(given.id)
      // Compared in either case, so that the time taken does not tell whether there is such a key.
      const fits = timingSafeEqual(found?.hash ?? nobody, hashOf(given.secret))
      if (!found || !fits) return { ok: false, reason: 'unknown' }
      const state = stateOf(found.record, nowMs())
      return state === 'active' ? { ok: true, holder: holderOf(found.record) } : { ok: false, reason: state }
    },
    isRequired: () => held.size > 0,
    hasActiveAdmin: () =>
      [...held.values()].some(({ record }) => record.role === 'admin' && stateOf(record, nowMs()) === 'active'),
    admitLocal(text) {
      const given = readKey(text)
      local = given && { id: given.id, hash: hashOf(given.secret) }
    },
  }
}
