// The process that cases are executed in: one target, one case after the other, told by messages. Whatever goes wrong in it, a crash
// and a hang included, is seen from outside.
import { readdirSync, rmSync } from 'node:fs'
import { mkdtemp } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setImmediate as turnOfTheLoop } from 'node:timers/promises'
import type { ExecutorMessage, ExecutorOrder } from './executor-messages.ts'
import type { Stage, Target } from './target.ts'

const tell = (message: ExecutorMessage): void => {
  process.send?.(message)
}
const textOf = (error: unknown): string => (error instanceof Error ? (error.stack ?? error.message) : String(error))

// Everything temporary of this process lies in one folder, so that what is left behind can be counted and goes with it.
const own = await mkdtemp(join(tmpdir(), 'rollcall-fuzz-'))
process.env.TMPDIR = own
process.on('exit', () => rmSync(own, { recursive: true, force: true }))
process.on('disconnect', () => process.exit(0))

/** Thrown or rejected where nobody waited for it. */
const stray: unknown[] = []
process.on('unhandledRejection', (error) => stray.push(error))
process.on('uncaughtException', (error) => stray.push(error))

const peakMiB = (): number => process.resourceUsage().maxRSS / 1024
const openFiles = (): number => {
  try {
    return readdirSync('/proc/self/fd').length
  } catch {
    return 0
  }
}

const [, , module = '', name] = process.argv

async function openStage(): Promise<Stage<unknown>> {
  const exported: Record<string, unknown> = await import(module)
  const target = Object.values(exported)
    .flat()
    .find((one): one is Target => (one as Target | undefined)?.name === name)
  if (!target) throw new Error(`there is no target ${name} in ${module}`)
  return target.open()
}
const stage = await openStage().catch((error: unknown) => {
  process.stderr.write(`the target ${name} cannot be made ready: ${textOf(error)}\n`)
  process.exit(1)
})
let foldersBefore = readdirSync(own).length

// Peak memory is to show what the product holds on to, not what waits to be collected.
const casesPerCollection = 50
let cases = 0

async function execute({ id, one }: ExecutorOrder): Promise<ExecutorMessage> {
  cases += 1
  if (cases % casesPerCollection === 0) globalThis.gc?.()
  const before = process.cpuUsage()
  try {
    const answer = await stage.run(one)
    const { user, system } = process.cpuUsage(before)
    await turnOfTheLoop()
    await turnOfTheLoop()
    if (stray.length > 0) return { kind: 'failed', id, error: `nobody waited for: ${textOf(stray[0])}` }
    const folders = readdirSync(own).length
    if (folders > foldersBefore) return { kind: 'failed', id, error: 'temporary folders were left behind' }
    return {
      kind: 'answered',
      id,
      answer,
      cpuMs: (user + system) / 1000,
      peakMiB: peakMiB(),
      openFiles: openFiles(),
    }
  } catch (error) {
    return { kind: 'failed', id, error: textOf(error) }
  } finally {
    stray.length = 0
    foldersBefore = readdirSync(own).length
  }
}

process.on('message', (order: ExecutorOrder) => {
  execute(order).then(tell)
})
tell({ kind: 'ready', peakMiB: peakMiB(), openFiles: openFiles() })
