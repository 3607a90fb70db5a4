// Labels in a row with the same to be said of them, joined to sections; a section is one lane's, or several lanes' that begin and end
// together.

export interface Section {
  /** Places in the order in which they were gone through. */
  readonly firstPlace: number
  readonly lastPlace: number
  readonly frames: number
  /** Of cells, rising. */
  readonly ordinals: readonly number[]
  readonly reason: string
}

export interface Walk {
  readonly places: Iterable<number>
  readonly ordinals: readonly number[]
  /** What is to be said of a label; undefined: nothing. */
  readonly reasonOf: (place: number, ordinal: number) => string | undefined
}

interface Open {
  readonly ordinal: number
  readonly reason: string
  readonly firstPlace: number
  lastPlace: number
  frames: number
  closed: boolean
  told: boolean
}

/** Sections in the order of their first places. Holds those back that begin behind one which still runs on. */
export function* joinSections({ places, ordinals, reasonOf }: Walk): Generator<Section> {
  const running = new Map<number, Open>()
  let waiting: Open[] = []
  let lastPlace: number | undefined
  for (const place of places) {
    const isNext = lastPlace !== undefined && Math.abs(place - lastPlace) === 1
    lastPlace = place
    for (const ordinal of ordinals) {
      const reason = reasonOf(place, ordinal)
      const open = running.get(ordinal)
      if (open && isNext && open.reason === reason) {
        open.lastPlace = place
        open.frames++
        continue
      }
      if (open) open.closed = true
      running.delete(ordinal)
      if (reason === undefined) continue
      const begun = { ordinal, reason, firstPlace: place, lastPlace: place, frames: 1, closed: false, told: false }
      running.set(ordinal, begun)
      waiting.push(begun)
    }
    if (waiting[0]?.closed) waiting = yield* tell(waiting)
  }
  for (const open of running.values()) open.closed = true
  yield* tell(waiting)
}

// Tells all up to the first that still runs on; returns the rest.
function* tell(waiting: readonly Open[]): Generator<Section, Open[]> {
  let from = 0
  for (let head = waiting[from]; head?.closed; head = waiting[++from]) {
    if (head.told) continue
    const { firstPlace, lastPlace, frames, reason } = head
    const alike: number[] = []
    for (let i = from; waiting[i]?.firstPlace === firstPlace; i++) {
      const other = waiting[i]
      if (!other?.closed || other.told || other.lastPlace !== lastPlace || other.reason !== reason) continue
      other.told = true
      alike.push(other.ordinal)
    }
    yield { firstPlace, lastPlace, frames, reason, ordinals: alike.toSorted((a, b) => a - b) }
  }
  return waiting.slice(from)
}
