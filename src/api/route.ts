// Routes as data: one table row says method, path, schemas, answers and problems; express and the OpenAPI document are both made of it.
import type { Request, Response } from 'express'
import type * as z from 'zod'
import type { ProblemCode } from '../kernel/problem.ts'
import type { Role } from '../people/index.ts'
import type { Caller } from './callers.ts'
import type { NamedAct, Signature } from './people.ts'

export interface Call<Params, Query, Body> {
  readonly params: Params
  readonly query: Query
  readonly body: Body
  readonly caller: Caller
  /** Of an act: the keys and the second person that sign it, to be recorded beside `by`. */
  readonly signed: Signature
  /** For a body that the handler reads itself: when it is read, and before anything is done, since the key may have ended meanwhile. */
  readonly admitAgain: () => Promise<unknown>
  readonly request: Request
  readonly response: Response
}

/** `sent` means that the handler wrote the response itself (streams, files). */
export type Reply =
  | { readonly status?: number; readonly json: unknown; readonly headers?: Readonly<Record<string, string>> }
  | {
      readonly status?: number
      readonly text: string
      readonly mediaType: string
      readonly headers?: Readonly<Record<string, string>>
    }
  | 'sent'

export interface Returns {
  readonly status: number
  readonly description: string
  readonly mediaType?: string
  readonly schema?: z.ZodType
}

export interface Route {
  readonly method: 'get' | 'post' | 'put' | 'delete'
  /** Express path below the prefix, such as `/runs/:runId`. */
  readonly path: string
  readonly tag: string
  readonly summary: string
  /** Whose keys may use it. A key of role `line` is held to its own line by `line` and `runId` in path, query and body. */
  readonly roles: readonly Role[] | 'anyone'
  /** A key is asked for even where none was made yet. */
  readonly keyAlways?: true
  /** Of an act in somebody's name: with a personal key its `by` may be left out. */
  readonly act?: NamedAct
  readonly params?: z.ZodObject
  readonly query?: z.ZodObject
  readonly body?: z.ZodType
  /** Media types of a body that the handler reads itself. */
  readonly rawBody?: readonly string[]
  readonly returns: readonly Returns[]
  readonly problems: readonly ProblemCode[]
  readonly handle: (call: Call<never, never, never>) => Promise<Reply>
}

type Of<S> = S extends z.ZodType ? z.output<S> : undefined

/** Declares a route with the types of its schemas. */
export function route<
  P extends z.ZodObject | undefined = undefined,
  Q extends z.ZodObject | undefined = undefined,
  B extends z.ZodType | undefined = undefined,
>(
  row: Omit<Route, 'params' | 'query' | 'body' | 'handle'> & {
    readonly params?: P
    readonly query?: Q
    readonly body?: B
    readonly handle: (call: Call<Of<P>, Of<Q>, Of<B>>) => Promise<Reply>
  },
): Route {
  return row as unknown as Route
}
