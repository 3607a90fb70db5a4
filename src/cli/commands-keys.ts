// The command of keys: those of people and controllers made (and shown once), listed, revoked; and the installation's public key.
import { Option } from 'commander'
import { Problem } from '../kernel/problem.ts'
import { type KeyRecord, roles } from '../people/index.ts'
import { type AddCommand, type Context, wholeOf } from './command.ts'
import { table } from './output.ts'

const unitMs: Readonly<Record<string, number>> = { h: 3_600_000, d: 86_400_000, w: 604_800_000 }

/** When a key ends: `90d`, `12h`, `4w` from now, or a date such as `2027-03-31` (to its end, UTC). Problem `usage`. */
export function endOf(text: string, nowMs: number): number {
  const [, count = '', unit = ''] = /^(\d{1,5})([hdw])$/.exec(text) ?? []
  const span = unitMs[unit]
  if (span !== undefined) return nowMs + wholeOf(count, '--expires', { min: 1 }) * span
  const day = /^\d{4}-\d{2}-\d{2}$/.test(text) ? Date.parse(`${text}T23:59:59.999Z`) : Number.NaN
  if (Number.isNaN(day)) throw new Problem('usage', `--expires takes a span such as 90d or a date, not "${text}"`)
  if (day <= nowMs) throw new Problem('usage', `--expires lies in the past: ${text}`)
  return day
}

interface KeyOptions {
  readonly role?: string
  readonly person?: string
  readonly line?: string
  readonly expires?: string
  readonly by?: string
  readonly yes?: boolean
}

const dayOf = (ms: number | undefined): string => (ms === undefined ? '' : new Date(ms).toISOString().slice(0, 16))
const forWhom = ({ role, person, line }: Omit<KeyOptions, 'yes'>): string =>
  [role, ...(line ? [`on line ${line}`] : []), ...(person ? [`for ${person}`] : [])].join(' ')

async function create({ withServer, output }: Context, options: KeyOptions): Promise<number> {
  const { role, person, line, expires, by } = options
  if (!role) throw new Problem('usage', `key create needs --role: ${roles.join(', ')}`)
  if (role === 'line' && !line)
    throw new Problem('usage', 'a key of role line needs --line: the only one it is good for')
  if (role !== 'line' && line) throw new Problem('usage', `--line is for keys of role line, not ${role}`)
  const expiresAtMs = expires === undefined ? undefined : endOf(expires, Date.now())
  const order = { role, person, line, expiresAtMs, by }
  const { made, isLost } = await withServer(async (server) => {
    const { lines } = line === undefined ? { lines: [] } : await server.get<{ lines: { line: string }[] }>('/lines')
    return {
      made: await server.send<{ record: KeyRecord; key: string }>('POST', '/keys', order),
      isLost: line !== undefined && !lines.some((row) => row.line === line),
    }
  })
  const end = expiresAtMs === undefined ? 'no end' : `until ${dayOf(expiresAtMs)}Z`
  const lines = [
    made.key,
    `Key ${made.record.id}: ${forWhom(options)}, ${end}. It is shown this once and stored nowhere: keep it safe.`,
    ...(isLost ? [`No line ${line} is stored: the key is good for little until it is. Was another line meant?`] : []),
    'From now on every request needs a key; commands on this machine use that of the data directory by themselves.',
  ]
  output.result(made, lines.join('\n'))
  return 0
}

async function list({ withServer, output }: Context): Promise<number> {
  const { keys } = await withServer((server) => server.get<{ keys: KeyRecord[] }>('/keys'))
  const rows = keys.map((key) => [
    key.id,
    key.role,
    key.person ?? '',
    key.line ?? '',
    key.state,
    dayOf(key.createdAtMs),
    key.createdBy,
    dayOf(key.expiresAtMs),
    key.revokedBy === undefined ? '' : `${dayOf(key.revokedAtMs)} ${key.revokedBy}`,
  ])
  const headings = ['key', 'role', 'person', 'line', 'state', 'made', 'by', 'expires', 'revoked']
  output.result({ keys }, rows.length > 0 ? table(headings, rows) : 'No key was made yet: rollcall key create --role …')
  return 0
}

async function revoke(
  { withServer, output }: Context,
  { by, yes }: KeyOptions,
  id: string | undefined,
): Promise<number> {
  if (!id) throw new Problem('usage', 'key revoke needs the id of a key, as key list shows it')
  // Somebody who pastes the whole key means its id; the secret has no business in an address.
  const named = /^rck-([0-9a-z]{8})-/i.exec(id)?.[1]?.toLowerCase() ?? id
  if (!yes) throw new Problem('usage', `a revoked key is never good again; add --yes to revoke ${named}`)
  const query = by === undefined ? '' : `?by=${encodeURIComponent(by)}`
  const at = `/keys/${encodeURIComponent(named)}${query}`
  const result = await withServer((server) => server.send<{ outcome: string }>('DELETE', at))
  output.result(result, result.outcome === 'unchanged' ? `key ${named} was revoked already` : `key ${named} revoked`)
  return 0
}

// For whoever keeps checkpoints; it is no secret and lets nobody in.
async function publicKey({ withServer, output }: Context): Promise<number> {
  const key = (await withServer((server) => server.text('/key'))).trim()
  output.result({ key }, key)
  return 0
}

/** Adds `key`. */
export function keyCommands(add: AddCommand): void {
  add<KeyOptions>(
    'key',
    "Keys that let people and controllers in: create, list, revoke; by itself the installation's public key",
    (command) =>
      command
        .argument('[what]', 'create, list or revoke; absent: print the public key that verifies checkpoints')
        .argument('[id]', 'with revoke: which one')
        .addOption(new Option('--role <role>', 'with create: what it may do').choices(roles))
        .option('--person <name>', 'with create: whose own it is; absent: a shared key, such as a controller’s')
        .option('--line <line>', 'with create --role line: the only line that it is good for')
        .option('--expires <when>', 'with create: 90d, 12h, 4w, or a date')
        .option('--by <name>', 'who makes or revokes it')
        .option('--yes', 'with revoke: confirm it'),
    async (context, options, [what, id]) => {
      if (what === undefined) return publicKey(context)
      if (what !== 'revoke' && id !== undefined) throw new Problem('usage', `key ${what} takes no argument`)
      if (what === 'create') return create(context, options)
      if (what === 'list') return list(context)
      if (what === 'revoke') return revoke(context, options, id)
      throw new Problem('usage', `key takes create, list or revoke, not "${what}"`)
    },
  )
}
