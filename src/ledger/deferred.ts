// A promise that is settled from outside.
import { assert } from '../kernel/assert.ts'

export interface Deferred<Value> {
  readonly promise: Promise<Value>
  resolve(value: Value): void
  reject(reason: Error): void
}

export function defer<Value>(): Deferred<Value> {
  let settle: Omit<Deferred<Value>, 'promise'> | undefined
  const promise = new Promise<Value>((resolve, reject) => {
    settle = { resolve, reject }
  })
  assert(settle !== undefined, 'a promise runs its executor at once')
  return { promise, ...settle }
}
