// Who calls: the key that a request shows, and whether it may use a route. Where no key was ever made, everybody on this machine may.
import type { Request, Response } from 'express'
import { Problem } from '../kernel/problem.ts'
import type { Holder, KeyVerdict, Role } from '../people/index.ts'
import { failedTries } from './failed-tries.ts'
import type { ApiParts } from './parts.ts'

/** Nobody in particular where no key is asked for and none was shown. */
export interface Caller {
  readonly key?: Holder
  /** Whose key came in `Rollcall-Second-Key`. */
  readonly second?: Holder
}

/** What a row says of who may use it. */
export interface Access {
  readonly roles: readonly Role[] | 'anyone'
  /** A key is asked for even where none was made yet. */
  readonly keyAlways?: true
}

export interface Gate {
  /** Problems `unauthorized`, `forbidden`, `too-many-tries`. */
  admit(access: Access, at: { readonly request: Request; readonly response: Response }): Promise<Caller>
}

const challenge = 'Bearer realm="rollcall"'
const said: Readonly<Record<(KeyVerdict & { ok: false })['reason'], string>> = {
  malformed: 'is not one as Rollcall makes them: a character is missing or wrong',
  unknown: 'is not known here',
  expired: 'has expired',
  revoked: 'was revoked',
}

const bearerOf = (header: string): string => /^bearer +(\S+) *$/i.exec(header)?.[1] ?? ''

/** What proxies add: RFC 7239, RFC 9110 §7.6.3, and the names in use beside them. */
const proxyHeader = /^(forwarded|via|x-forwarded-.+|x-real-ip|cf-connecting-ip|true-client-ip)$/

/** A request that came through a proxy may come from anywhere, whatever this server listens on; one that adds no header is not noticed. */
const isForwarded = ({ headers }: Request): boolean => Object.keys(headers).some((name) => proxyHeader.test(name))

/**
 * Whether what a connection was let in with still lets it in: it may have expired, been revoked, or the first key of all been made
 * meanwhile. Returns the problem, if any; takes some microseconds.
 */
export function keyWatch(keys: ApiParts['keys'], authorization: string | undefined): () => Problem | undefined {
  if (authorization === undefined)
    return () => (keys.isRequired() ? new Problem('unauthorized', 'this takes a key by now') : undefined)
  const text = bearerOf(authorization)
  return () => {
    const verdict = keys.checkKey(text)
    return verdict.ok ? undefined : new Problem('unauthorized', `the key ${said[verdict.reason]}`)
  }
}

function demandRole({ roles }: Access, holder: Holder, whose: string): void {
  if (roles === 'anyone' || roles.includes(holder.role)) return
  throw new Problem('forbidden', `${whose} has the role ${holder.role}; this takes ${roles.join(' or ')}`, {
    measured: holder.role,
    limit: roles.join(', '),
  })
}

export function openGate({ keys, clock }: Pick<ApiParts, 'keys' | 'clock'>): Gate {
  const count = failedTries(clock)
  const counted = (request: Request, response: Response): Promise<void> =>
    new Promise((resolve, reject) => {
      const next = (error?: unknown): void => (error ? reject(error as Error) : resolve())
      Promise.resolve(count(request, response, next)).catch(reject)
    })
  const holderOf = async (text: string, what: string, { request, response }: Parameters<Gate['admit']>[1]) => {
    const verdict = keys.checkKey(text)
    if (verdict.ok) return verdict.holder
    await counted(request, response)
    response.setHeader('www-authenticate', `${challenge}, error="invalid_token"`)
    throw new Problem('unauthorized', `the key in ${what} ${said[verdict.reason]}`)
  }
  return {
    async admit(access, at) {
      if (access.roles === 'anyone') return {}
      const { authorization, 'rollcall-second-key': second } = at.request.headers
      const isOpen = !keys.isRequired() && !access.keyAlways && !isForwarded(at.request)
      if (authorization === undefined && isOpen) return {}
      if (authorization === undefined) {
        at.response.setHeader('www-authenticate', challenge)
        throw new Problem('unauthorized', 'this takes a key: Authorization: Bearer <key>')
      }
      const key = await holderOf(bearerOf(authorization), 'Authorization', at)
      demandRole(access, key, 'the key')
      if (second === undefined) return { key }
      const other = await holderOf(String(second).trim(), 'Rollcall-Second-Key', at)
      demandRole(access, other, 'the second key')
      return { key, second: other }
    },
  }
}
