// Adds to the refusal of a ticket that is not ready what a person may do about it.
import { Problem } from '../kernel/problem.ts'
import type { Server } from './server.ts'

interface Names {
  readonly ticket: string
  readonly line: string
}

/** Runs `work`; a refusal for blockers then names the command that says what would mend each, and the way past them. */
export async function orHowToMend<T>(work: () => Promise<T>, namesOf: () => Promise<Names> | Names): Promise<T> {
  try {
    return await work()
  } catch (error) {
    if (!(error instanceof Problem) || error.code !== 'not-ready') throw error
    const { ticket, line } = await namesOf()
    const how = `what would mend them: rollcall readiness --ticket ${ticket} --line ${line}; or add --override and --why, in a person’s name`
    throw new Problem(error.code, `${error.message}; ${how}`, { ...error.place, findings: error.findings })
  }
}

/** The line of a run. */
export const lineOf = async (server: Server, runId: string): Promise<string> =>
  (await server.get<{ line: string }>(`/runs/${encodeURIComponent(runId)}`)).line
