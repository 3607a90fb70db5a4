// What is still to be settled, in order of the distance at which it must be. New labels mostly stand last, so keeping a list in order
// costs next to nothing.

interface Deadline<T> {
  readonly atMm: number
  readonly what: T
}

export class Deadlines<T> {
  private list: Deadline<T>[] = []

  get size(): number {
    return this.list.length
  }

  add(atMm: number, what: T): void {
    let low = 0
    let high = this.list.length
    if (high > 0 && (this.list[high - 1]?.atMm ?? 0) <= atMm) low = high
    while (low < high) {
      const middle = (low + high) >>> 1
      if ((this.list[middle]?.atMm ?? 0) <= atMm) low = middle + 1
      else high = middle
    }
    this.list.splice(low, 0, { atMm, what })
  }

  /** Takes out everything due at or before a position, soonest first. */
  takeUpTo(mm: number): T[] {
    const first = this.list.findIndex(({ atMm }) => atMm > mm)
    const due = this.list.splice(0, first < 0 ? this.list.length : first)
    return due.map(({ what }) => what)
  }

  takeAll(): T[] {
    return this.takeUpTo(Number.POSITIVE_INFINITY)
  }
}
