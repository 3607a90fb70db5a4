// Configuration: defaults, then `config.json` of the data directory, then the environment; validated and frozen.
import { readFile } from 'node:fs/promises'
import { availableParallelism } from 'node:os'
import path from 'node:path'
import * as z from 'zod'
import { Problem } from './kernel/problem.ts'

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

function fromEnvironment(environment: NodeJS.ProcessEnv): Record<string, string | number> {
  const found: Record<string, string | number> = {}
  for (const [variable, key] of Object.entries(variables)) {
    const text = environment[variable]
    if (text === undefined || text === '') continue
    found[key] = typeof defaults[key] === 'number' ? Number(text) : text
  }
  return found
}

async function fromFile(file: string): Promise<Record<string, unknown>> {
  const text = await readFile(file, 'utf8').catch(() => '{}')
  try {
    return JSON.parse(text) as Record<string, unknown>
  } catch (error) {
    throw new Problem('config-bad', `not JSON: ${(error as Error).message}`, { file })
  }
}

const loopback = new Set(['127.0.0.1', '::1', 'localhost'])

/**
 * Reads the configuration of a data directory. `given` is what the command line says and wins. Problems: `config-bad` with file and
 * pointer; `listen-beyond-loopback` for any other address, since this build has no keys.
 */
export async function readConfig(parts: {
  readonly dataFolder: string
  readonly environment: NodeJS.ProcessEnv
  readonly given: Partial<Config>
}): Promise<Config> {
  const file = path.join(parts.dataFolder, 'config.json')
  const merged = { ...defaults, ...(await fromFile(file)), ...fromEnvironment(parts.environment), ...parts.given }
  const parsed = configSchema.safeParse(merged)
  if (!parsed.success) {
    const [issue] = parsed.error.issues
    const pointer = issue?.path.map((step) => `/${String(step)}`).join('') ?? ''
    throw new Problem('config-bad', `the configuration does not fit: ${issue?.message}`, { file, pointer })
  }
  if (!loopback.has(parsed.data.host)) {
    const limit = [...loopback].join(', ')
    throw new Problem('listen-beyond-loopback', `${parsed.data.host} is not a loopback address`, {
      measured: parsed.data.host,
      limit,
    })
  }
  return Object.freeze(parsed.data)
}
