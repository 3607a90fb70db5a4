// Configuration: defaults, then `config.json` of the data directory, then the environment; validated and frozen.
import { readFile } from 'node:fs/promises'
import { availableParallelism } from 'node:os'
import path from 'node:path'
import * as z from 'zod'
import { Problem } from './kernel/problem.ts'
import { firstOf, schemaFindings } from './kernel/schema-findings.ts'

const milliseconds = z.int().min(50).max(3_600_000)

const configSchema = z
  .strictObject({
    host: z.string().meta({ description: 'Address to listen on; loopback only in this build' }),
    port: z.int().min(0).max(65_535),
    logLevel: z.enum(['trace', 'debug', 'info', 'warn', 'error', 'fatal', 'silent']),
    threads: z.int().min(1).max(64).meta({ description: 'Worker threads for pictures and package checks' }),
    intakeRescanMs: milliseconds,
    intakeSettleMs: milliseconds.meta({
      description: 'An incomplete package is judged when nothing in it changed for so long',
    }),
    capturesRescanMs: milliseconds,
    layerSweepMs: milliseconds.meta({ description: 'How often the stored layers of open runs are looked at again' }),
  })
  .meta({ id: 'Config', title: 'config.json' })

export type Config = Readonly<z.infer<typeof configSchema>>

/** Also the shape of `config.json`: every key may be left out. */
export const configFileSchema = configSchema.partial()

const defaults: Config = {
  host: '127.0.0.1',
  port: 7070,
  logLevel: 'info',
  threads: Math.min(8, Math.max(1, availableParallelism())),
  intakeRescanMs: 2_000,
  intakeSettleMs: 30_000,
  capturesRescanMs: 1_000,
  layerSweepMs: 5_000,
}

const variables: Readonly<Record<string, keyof Config>> = {
  ROLLCALL_HOST: 'host',
  ROLLCALL_PORT: 'port',
  ROLLCALL_LOG_LEVEL: 'logLevel',
  ROLLCALL_THREADS: 'threads',
  ROLLCALL_INTAKE_RESCAN_MS: 'intakeRescanMs',
  ROLLCALL_INTAKE_SETTLE_MS: 'intakeSettleMs',
  ROLLCALL_CAPTURES_RESCAN_MS: 'capturesRescanMs',
  ROLLCALL_LAYER_SWEEP_MS: 'layerSweepMs',
}

function fromEnvironment(environment: NodeJS.ProcessEnv): Partial<Config> {
  const found: Record<string, unknown> = {}
  for (const [variable, key] of Object.entries(variables)) {
    const text = environment[variable]?.trim()
    if (!text) continue
    const value = typeof defaults[key] === 'number' ? Number(text) : text
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
 * Reads the configuration of a data directory. `given` is what the command line says and wins. Problems: `config-bad` with file and
 * pointer, or naming the variable; `listen-beyond-loopback` for any other address, since this build has no keys.
 */
export async function readConfig(parts: {
  readonly dataFolder: string
  readonly environment: NodeJS.ProcessEnv
  readonly given: Partial<Config>
}): Promise<Config> {
  const file = path.join(parts.dataFolder, 'config.json')
  const config: Config = {
    ...defaults,
    ...(await fromFile(file)),
    ...fromEnvironment(parts.environment),
    ...parts.given,
  }
  if (!loopback.has(config.host)) {
    const limit = [...loopback].join(', ')
    throw new Problem('listen-beyond-loopback', `${config.host} is not a loopback address`, {
      measured: config.host,
      limit,
    })
  }
  return Object.freeze(config)
}
