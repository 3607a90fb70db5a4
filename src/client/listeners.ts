// Who wants to be told of something. A listener that throws does not keep the client from its work: its error surfaces on its own.

export type Unsubscribe = () => void

export class Listeners<T> {
  private readonly all = new Set<(told: T) => void>()

  add(listener: (told: T) => void): Unsubscribe {
    // Wrapped, so that the same function may be added twice and each taken off by itself.
    const own = (told: T): void => listener(told)
    this.all.add(own)
    return () => void this.all.delete(own)
  }

  tell(told: T): void {
    for (const listener of this.all) {
      try {
        listener(told)
      } catch (error) {
        queueMicrotask(() => {
          throw error
        })
      }
    }
  }
}
