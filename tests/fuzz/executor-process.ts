// An executing process seen from outside: cases go in, answers come out, and a process that crashes or does not come back is a failure
// of the case that it had.
import { type ChildProcess, spawn } from 'node:child_process'
import { once } from 'node:events'
import { fileURLToPath } from 'node:url'
import type { ExecutorMessage } from './executor-messages.ts'
import { type Bounds, hangFactor, type Target } from './target.ts'

export interface Answered {
  readonly answer: string
  readonly cpuMs: number
}

export interface Executor {
  /** Executes one case. Rejects where something does not hold, with what that was. */
  run(one: unknown): Promise<Answered>
  /** Growth of its peak memory since it was ready, MiB. */
  readonly growthMiB: number
  /** It crashed, hung or went over a bound: the next case needs a new one. */
  readonly isSpent: boolean
  close(): Promise<void>
}

const openFilesMax = 64
const readyMsMax = 120_000
const logMax = 8_000

type Wanted = Exclude<ExecutorMessage['kind'], 'failed'>
type Of<Kind extends Wanted> = Extract<ExecutorMessage, { kind: Kind }>

class Process implements Executor {
  readonly #child: ChildProcess
  readonly #bounds: Bounds
  #log = ''
  #id = 0
  #base = { peakMiB: 0, openFiles: 0 }
  growthMiB = 0
  isSpent = false

  constructor({ name, module, bounds }: Target) {
    this.#bounds = bounds
    const script = fileURLToPath(new URL('executor.ts', import.meta.url))
    this.#child = spawn(
      process.execPath,
      ['--import', 'tsx', '--expose-gc', '--max-old-space-size=2048', script, module, name],
      {
        cwd: fileURLToPath(new URL('../..', import.meta.url)),
        stdio: ['ignore', 'ignore', 'pipe', 'ipc'],
        serialization: 'advanced',
      },
    )
    this.#child.stderr?.setEncoding('utf8').on('data', (text: string) => {
      this.#log = (this.#log + text).slice(-logMax)
    })
  }

  async ready(): Promise<void> {
    const { peakMiB, openFiles } = await this.#next('ready', readyMsMax)
    this.#base = { peakMiB, openFiles }
  }

  async run(one: unknown): Promise<Answered> {
    this.#id += 1
    const { caseCpuMsMax, growthMiBMax } = this.#bounds
    const next = this.#next('answered', caseCpuMsMax * hangFactor)
    this.#child.send({ id: this.#id, one })
    const { answer, cpuMs, peakMiB, openFiles } = await next
    this.growthMiB = Math.max(this.growthMiB, peakMiB - this.#base.peakMiB)
    this.isSpent =
      cpuMs > caseCpuMsMax || this.growthMiB > growthMiBMax || openFiles > this.#base.openFiles + openFilesMax
    if (cpuMs > caseCpuMsMax) throw new Error(`took ${Math.round(cpuMs)} ms of CPU time; the bound is ${caseCpuMsMax}`)
    if (this.growthMiB > growthMiBMax) {
      throw new Error(`memory grew by ${Math.round(this.growthMiB)} MiB; the bound is ${growthMiBMax}`)
    }
    if (openFiles > this.#base.openFiles + openFilesMax) throw new Error(`${openFiles} files are open`)
    return { answer, cpuMs }
  }

  /** The next message, which must be of this kind; kills the process when none comes in time. */
  #next<Kind extends Wanted>(kind: Kind, msMax: number): Promise<Of<Kind>> {
    const child = this.#child
    return new Promise((resolve, reject) => {
      let hung = false
      const timer = setTimeout(() => {
        hung = true
        child.kill('SIGKILL')
      }, msMax)
      const settle = (act: () => void): void => {
        clearTimeout(timer)
        child.off('message', onMessage).off('close', onClose)
        act()
      }
      const onMessage = (message: ExecutorMessage): void =>
        settle(() => {
          if (message.kind === kind) resolve(message as Of<Kind>)
          else reject(new Error(message.kind === 'failed' ? message.error : `it said ${message.kind}`))
        })
      const onClose = (code: number | null, signal: string | null): void =>
        settle(() => {
          this.isSpent = true
          const end = hung ? `did not come back within ${msMax} ms` : `ended the process (${signal ?? code})`
          reject(new Error(`${end}${this.#log === '' ? '' : `; it had said: ${this.#log}`}`))
        })
      child.on('message', onMessage).on('close', onClose)
    })
  }

  async close(): Promise<void> {
    const child = this.#child
    if (child.exitCode !== null || child.signalCode !== null) return
    const exited = once(child, 'exit')
    if (child.connected) child.disconnect()
    else child.kill('SIGKILL')
    const last = setTimeout(() => child.kill('SIGKILL'), 5_000)
    await exited
    clearTimeout(last)
  }
}

/** Starts an executing process for a target and waits until it is ready. */
export async function openExecutor(target: Target): Promise<Executor> {
  const started = new Process(target)
  try {
    await started.ready()
  } catch (error) {
    await started.close()
    throw error
  }
  return started
}
