// What a command is made of: its context, how it is added, how its options are read.
import type { Command } from 'commander'
import { Problem } from '../kernel/problem.ts'
import type { Output } from './output.ts'
import type { Server, StartServer } from './server.ts'

export interface CliParts {
  readonly version: string
  readonly start: StartServer
  /** The demo; returns the exit code. */
  readonly demo: (options: { dataFolder: string; serve: boolean; port: number; json: boolean }) => Promise<number>
}

/** What a command's action works with. */
export interface Context {
  readonly dataFolder: string
  readonly output: Output
  readonly parts: CliParts
  withServer<T>(work: (server: Server) => Promise<T>): Promise<T>
}

/** Adds a command whose action gets its context, arguments and options. */
export type AddCommand = <O extends object>(
  usage: string,
  about: string,
  build: (command: Command) => Command,
  action: (context: Context, options: O, args: readonly string[]) => Promise<number | undefined>,
) => void

/** A whole number from an option. Problem `usage`. */
export function wholeOf(text: string, name: string, range: { min?: number; max?: number } = {}): number {
  const { min = 0, max = Number.MAX_SAFE_INTEGER } = range
  const number = Number(text)
  if (text.trim() === '' || !Number.isInteger(number) || number < min || number > max) {
    const limit = max === Number.MAX_SAFE_INTEGER ? `at least ${min}` : `${min} to ${max}`
    throw new Problem('usage', `${name} takes a whole number, ${limit}, not "${text}"`)
  }
  return number
}

/** A number from an option. Problem `usage`. */
export function numberOf(text: string, name: string): number {
  const number = Number(text)
  if (text.trim() === '' || !Number.isFinite(number))
    throw new Problem('usage', `${name} takes a number, not "${text}"`)
  return number
}
