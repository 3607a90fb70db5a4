// Configuration: defaults, then `config.json` of the data directory, then the environment; validated and frozen.
import { readFile } from 'node:fs/promises'
import { availableParallelism } from 'node:os'
import path from 'node:path'
import * as z from 'zod'
import { Problem } from './kernel/problem.ts'
import { firstOf, schemaFindings } from './kernel/schema-findings.ts'
import { runActs, twoPersonActs } from './people/index.ts'
import { pictureStreamsSchema, readersSchema } from './readers/index.ts'

const milliseconds = z.int().min(50).max(3_600_000)

const configSchema = z
  .strictObject({
    host: z
      .string()
      .min(1)
      .meta({ description: 'Address to listen on; beyond loopback it takes an active key of role admin' }),
    hosts: z
      .array(z.string().regex(/^[a-z0-9.-]{1,253}$|^\[[0-9a-f:.]+\]$/, 'is no host name in lower case, without a port'))
      .max(100)
      .meta({
        description:
          'Host names, beside the loopback ones, that requests may name: those of a proxy, or of this machine',
      }),
    port: z.int().min(0).max(65_535),
    twoPersons: z.array(z.enum(twoPersonActs)).meta({ description: 'Acts that take two people' }),
    twoPersonsRegulated: z
      .array(z.enum(runActs))
      .meta({ description: 'Acts that take two people on runs of regulated tickets' }),
    logLevel: z.enum(['trace', 'debug', 'info', 'warn', 'error', 'fatal', 'silent']),
    threads: z.int().min(1).max(64).meta({ description: 'Worker threads for pictures and package checks' }),
    intakeRescanMs: milliseconds,
    intakeSettleMs: milliseconds.meta({
      description: 'An incomplete package is judged when nothing in it changed for so long',
    }),
    capturesRescanMs: milliseconds,
    layerSweepMs: milliseconds.meta({ description: 'How often the stored layers of open runs are looked at again' }),
    readers: readersSchema,
    pictureStreams: pictureStreamsSchema,
  })
  .meta({ id: 'Config', title: 'config.json' })

export type Config = Readonly<z.infer<typeof configSchema>>

/** Also the shape of `config.json`: every key may be left out. */
export const configFileSchema = configSchema.partial()

const defaults: Config = {
  host: '127.0.0.1',
  hosts: [],
  port: 7070,
  twoPersons: [],
  twoPersonsRegulated: [],
  logLevel: 'info',
  threads: Math.min(8, Math.max(1, availableParallelism())),
  intakeRescanMs: 2_000,
  intakeSettleMs: 30_000,
  capturesRescanMs: 1_000,
  layerSweepMs: 5_000,
  readers: [],
  pictureStreams: [],
}

const variables: Readonly<Record<string, keyof Config>> = {
  ROLLCALL_HOST: 'host',
  ROLLCALL_HOSTS: 'hosts',
  ROLLCALL_PORT: 'port',
  ROLLCALL_TWO_PERSONS: 'twoPersons',
  ROLLCALL_TWO_PERSONS_REGULATED: 'twoPersonsRegulated',
  ROLLCALL_LOG_LEVEL: 'logLevel',
  ROLLCALL_THREADS: 'threads',
  ROLLCALL_INTAKE_RESCAN_MS: 'intakeRescanMs',
  ROLLCALL_INTAKE_SETTLE_MS: 'intakeSettleMs',
  ROLLCALL_CAPTURES_RESCAN_MS: 'capturesRescanMs',
  ROLLCALL_LAYER_SWEEP_MS: 'layerSweepMs',
}

// Of the kind that the default has; a list is separated by commas.
function readAs(text: string, like: unknown): unknown {
  if (Array.isArray(like)) return text.split(',').map((part) => part.trim())
  return typeof like === 'number' ? Number(text) : text
}

function fromEnvironment(environment: NodeJS.ProcessEnv): Partial<Config> {
  const found: Record<string, unknown> = {}
  for (const [variable, key] of Object.entries(variables)) {
    const text = environment[variable]?.trim()
    if (!text) continue
    const value = readAs(text, defaults[key])
    const parsed = configSchema.shape[key].safeParse(value)
    if (!parsed.success) {
      const [finding] = schemaFindings(parsed.error, value, 'config-bad')
      throw new Problem('config-bad', `the variable ${variable} does not fit: ${finding?.message}`, { measured: text })
    }
    found[key] = parsed.data
  }
  return found
}

async function textOf(file: string): Promise<string> {
  try {
    return await readFile(file, 'utf8')
  } catch (error) {
    // No data directory yet, or none with a configuration.
    if (['ENOENT', 'ENOTDIR'].includes((error as NodeJS.ErrnoException).code ?? '')) return '{}'
    throw new Problem('config-bad', `cannot be read: ${(error as Error).message}`, { file })
  }
}

async function fromFile(file: string): Promise<Partial<Config>> {
  const text = await textOf(file)
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch (error) {
    throw new Problem('config-bad', `not JSON: ${(error as Error).message}`, { file })
  }
  const parsed = configFileSchema.safeParse(value)
  if (parsed.success) return parsed.data as Partial<Config>
  const findings = schemaFindings(parsed.error, value, 'config-bad')
  const pointer = findings[0]?.pointer ?? ''
  throw new Problem('config-bad', `the configuration does not fit: ${firstOf(findings)}`, { file, pointer, findings })
}

const loopback = new Set(['127.0.0.1', '::1', 'localhost'])

/**
 * What would let requests in from other machines: an address that is not loopback, or the name of a proxy in front of it. Absent where
 * only this machine can ask.
 */
export function beyondLoopback({ host, hosts }: Pick<Config, 'host' | 'hosts'>): string | undefined {
  return loopback.has(host) ? hosts.find((name) => !loopback.has(name)) : host
}

/**
 * Reads the configuration of a data directory. `given` is what the command line says and wins. Problem `config-bad` with file and
 * pointer, or naming the variable.
 */
export async function readConfig(parts: {
  readonly dataFolder: string
  readonly environment: NodeJS.ProcessEnv
  readonly given: Partial<Config>
}): Promise<Config> {
  const file = path.join(parts.dataFolder, 'config.json')
  return Object.freeze({
    ...defaults,
    ...(await fromFile(file)),
    ...fromEnvironment(parts.environment),
    ...parts.given,
  })
}
