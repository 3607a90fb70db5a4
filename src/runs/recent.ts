// The last few results of long work, by what they hang on; who asks while one is worked out waits for the same.

export interface Recent<T> {
  /** The result under this key, worked out where it isn't kept. One that `keep` turns down, or that fails, is worked out again. */
  of(key: string, work: () => Promise<T>, keep: (result: T) => boolean): Promise<T>
}

export function openRecent<T>(countMax: number): Recent<T> {
  const kept = new Map<string, Promise<T>>()
  return {
    async of(key, work, keep) {
      const known = kept.get(key)
      // The newest stands last.
      kept.delete(key)
      const result = known ?? work()
      kept.set(key, result)
      for (const oldest of kept.keys()) {
        if (kept.size <= countMax) break
        kept.delete(oldest)
      }
      const drop = (): void => {
        if (kept.get(key) === result) kept.delete(key)
      }
      try {
        const found = await result
        if (!keep(found)) drop()
        return found
      } catch (error) {
        drop()
        // Whoever began it may have broken it off; that is no answer to others.
        if (known) return this.of(key, work, keep)
        throw error
      }
    },
  }
}
