// What every act of the demo needs: the server, where its data lie, and where the demo tells what it does.
import { setTimeout as pause } from 'node:timers/promises'
import type { Output, Server } from '../src/cli/index.ts'
import { Problem } from '../src/kernel/problem.ts'

export interface Stage {
  readonly server: Server
  readonly output: Output
  readonly dataFolder: string
}

export const lead = 'I. Demo (lead)'
export const prepress = 'P. Demo (prepress)'

/** Looks until there is something to see, for a minute at most; a refusal counts as nothing yet. */
export async function until<T>(what: string, look: () => Promise<T | undefined>): Promise<T> {
  for (let tries = 0; tries < 1_200; tries++) {
    const found = await look().catch((error) => {
      if (error instanceof Problem && error.code !== 'internal') return undefined
      throw error
    })
    if (found !== undefined) return found
    await pause(50)
  }
  throw new Error(`the demo waited for ${what} for a minute`)
}
