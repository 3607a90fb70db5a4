// How an error crosses from a thread to its caller: structured cloning would keep an error's message and lose what a Problem says.
import { type Finding, Problem, type ProblemCode, type ProblemPlace, problemTable } from '../kernel/problem.ts'

/** What a thread answers with. */
export type ThreadReply =
  | { readonly result: unknown }
  | {
      readonly problem: {
        readonly code: ProblemCode
        readonly detail: string
        readonly place: ProblemPlace
        readonly findings: readonly Finding[]
      }
    }
  | { readonly fault: string }

/** By shape, not class: the thread's script may have loaded its own copy of the class. */
function isProblem(error: unknown): error is Problem {
  return error instanceof Error && error.name === 'Problem' && 'code' in error && String(error.code) in problemTable
}

export function packError(error: unknown): ThreadReply {
  if (isProblem(error)) {
    const { code, message, place, findings } = error
    return { problem: { code, detail: message, place, findings } }
  }
  return { fault: error instanceof Error ? (error.stack ?? error.message) : String(error) }
}

/** The result, or throws the thread's `Problem` as one; anything else that was thrown there is an `Error` here. */
export function unpackReply(reply: ThreadReply): unknown {
  if ('result' in reply) return reply.result
  if ('problem' in reply) {
    const { code, detail, place, findings } = reply.problem
    throw new Problem(code, detail, { ...place, findings })
  }
  throw new Error(reply.fault)
}
