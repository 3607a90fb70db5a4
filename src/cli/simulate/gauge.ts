// Spread of many numbers in little room: counts in buckets, so that an hour of labels takes as much as a minute.

export interface Gauge {
  add(value: number): void
  readonly count: number
  readonly min: number
  readonly max: number
  /** The value below which this share of the numbers lies, to the width of a bucket; NaN where there are none. */
  at(share: number): number
}

/** Buckets of `width` from `from` on, `count` of them; what lies outside counts in the first or last. */
export function openGauge({ from, width, count }: { from: number; width: number; count: number }): Gauge {
  const buckets = new Uint32Array(count)
  let total = 0
  let min = Number.POSITIVE_INFINITY
  let max = Number.NEGATIVE_INFINITY
  return {
    add(value) {
      const bucket = Math.floor((value - from) / width)
      const at = Math.min(count - 1, Math.max(0, bucket))
      buckets[at] = (buckets[at] ?? 0) + 1
      total++
      if (value < min) min = value
      if (value > max) max = value
    },
    get count() {
      return total
    },
    get min() {
      return min
    },
    get max() {
      return max
    },
    at(share) {
      if (total === 0) return Number.NaN
      let left = share * total
      for (let bucket = 0; bucket < count; bucket++) {
        left -= buckets[bucket] ?? 0
        if (left <= 0) return Math.min(max, Math.max(min, from + (bucket + 0.5) * width))
      }
      return max
    },
  }
}
