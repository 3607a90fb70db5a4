// Locks by name within this process: those who hold the same name go one after the other.

export interface Locks {
  hold<T>(name: string, work: () => Promise<T>): Promise<T>
}

export function createLocks(): Locks {
  const last = new Map<string, Promise<void>>()
  return {
    async hold(name, work) {
      const before = last.get(name)
      const result = (async () => {
        await before
        return work()
      })()
      const done = result.then(
        () => undefined,
        () => undefined,
      )
      last.set(name, done)
      try {
        return await result
      } finally {
        if (last.get(name) === done) last.delete(name)
      }
    },
  }
}
