// Where the web was when: encoder positions with the monotonic time at which they came, what lies between them, and how far off that
// may be. A line of a reader is placed by this; what is not certain enough is not used.

export interface WebPosition {
  readonly positionUm: number
  /** How far the web may have been from there. */
  readonly errorUm: number
  /** A later position is known: it gets no better than this. */
  readonly settled: boolean
}

interface Sample {
  readonly positionUm: number
  readonly atMs: number
  /** How much earlier than `atMs` it may have come. */
  readonly withinMs: number
}

const samplesMax = 256
/** How hard a web may be braked or started, µm/ms² (5 m/s²: common practice for narrow webs, no source). */
const accelerationMax = 5
/** What is allowed for beyond what was measured: three times the change of speed seen, and a tenth of the way to the nearer end. */
const accelerationFactor = 3
const wayShare = 0.1
/** Further than this the web's last speed says nothing, ms. */
const aheadMsMax = 100
/** Of a time stamp, however idle the machine is, ms. */
const stampErrorMs = 1

const speedOf = (from: Sample, to: Sample): number =>
  (to.positionUm - from.positionUm) / Math.max(to.atMs - from.atMs, 1e-3)

export class Encoder {
  private readonly samples: Sample[] = []

  get newestUm(): number | undefined {
    return this.samples.at(-1)?.positionUm
  }

  note(sample: Sample): void {
    this.samples.push(sample)
    if (this.samples.length > samplesMax) this.samples.shift()
  }

  /** Another origin: what was known says nothing about it. */
  restart(): void {
    this.samples.length = 0
  }

  /** Where the web was at a time; undefined where nothing can be said, or not yet. `withinMs`: how much earlier it may have been. */
  at({ atMs, withinMs }: { readonly atMs: number; readonly withinMs: number }): WebPosition | undefined {
    const next = this.samples.findIndex((sample) => sample.atMs > atMs)
    if (next === 0) return { positionUm: 0, errorUm: Number.POSITIVE_INFINITY, settled: true }
    return next < 0 ? this.ahead(atMs, withinMs) : this.between(next, atMs, withinMs)
  }

  // How fast the speed changed before and behind the interval that ends with this sample, µm/ms².
  private accelerationAround(end: number): number {
    const rates = [end, end + 1].flatMap((i) => {
      const [a, b, c] = [this.samples[i - 2], this.samples[i - 1], this.samples[i]]
      if (!a || !b || !c) return []
      return [Math.abs(speedOf(b, c) - speedOf(a, b)) / Math.max((c.atMs - a.atMs) / 2, 1e-3)]
    })
    if (rates.length === 0) return accelerationMax
    return accelerationFactor * Math.max(...rates)
  }

  private between(end: number, atMs: number, withinMs: number): WebPosition | undefined {
    const [from, to] = [this.samples[end - 1], this.samples[end]]
    if (!from || !to) return undefined
    const speed = speedOf(from, to)
    const [since, left] = [atMs - from.atMs, to.atMs - atMs]
    const positionUm = from.positionUm + speed * since
    // The web went from one to the other: it was nowhere else.
    const [behind, before] = [Math.abs(positionUm - from.positionUm), Math.abs(to.positionUm - positionUm)]
    const farthest = Math.max(behind, before)
    const bent = Math.max((this.accelerationAround(end) / 2) * since * left, wayShare * Math.min(behind, before))
    const stamps = Math.abs(speed) * (stampErrorMs + Math.max(withinMs, from.withinMs, to.withinMs))
    return { positionUm, errorUm: Math.min(bent, farthest) + stamps, settled: true }
  }

  private ahead(atMs: number, withinMs: number): WebPosition | undefined {
    const [before, last] = [this.samples.at(-2), this.samples.at(-1)]
    if (!before || !last) return undefined
    const [since, interval] = [atMs - last.atMs, last.atMs - before.atMs]
    if (since > aheadMsMax) return undefined
    const speed = speedOf(before, last)
    const bent =
      (accelerationMax / 2) * since ** 2 + (this.accelerationAround(this.samples.length - 1) / 2) * interval * since
    const stamps = Math.abs(speed) * (stampErrorMs + Math.max(withinMs, before.withinMs, last.withinMs))
    return { positionUm: last.positionUm + speed * since, errorUm: bent + stamps, settled: false }
  }
}
