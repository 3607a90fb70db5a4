// The web as its marks were measured: where each place lay on the encoder, in which threading, under which ticket. Flat arrays, 16
// bytes a place, for a roll of any length.
import { assert } from '../../kernel/assert.ts'

/** Places from one threading on: encoder positions of different threadings cannot be compared. */
export interface Threading {
  readonly firstPlace: number
  /** Position of its first mark, and where that stands on the web from its beginning, µm. */
  readonly firstUm: number
  readonly webUm: number
}

/** A stretch of the web that ran under one ticket. */
export interface TicketStretch {
  readonly firstPlace: number
  readonly ticket: string
  readonly roll: string
  readonly pass: number
  /** As the ticket states it. */
  readonly expectedFrames?: number
}

const grown = (from: Float64Array<ArrayBuffer>): Float64Array<ArrayBuffer> => {
  const into = new Float64Array(from.length * 2)
  into.set(from)
  return into
}

export class WebMarks {
  readonly pitchUm: number
  readonly threadings: Threading[] = []
  readonly tickets: TicketStretch[] = []
  /** Places so far, those that passed without a trigger between others included. */
  places = 0
  private positions = new Float64Array(1024)
  /** Frame under which a place was first seen; −1: it passed without a trigger. */
  private firstFrames = new Float64Array(1024)
  private rethreaded = true
  private next: Omit<TicketStretch, 'firstPlace'> | undefined

  constructor(pitchUm: number) {
    assert(pitchUm > 0, 'a pitch is positive')
    this.pitchUm = pitchUm
  }

  /** What follows runs under this ticket. */
  under(ticket: Omit<TicketStretch, 'firstPlace'>): void {
    this.next = ticket
  }

  /** The newest ticket, whether web came under it yet or not. */
  get ticket(): Omit<TicketStretch, 'firstPlace'> | undefined {
    return this.next ?? this.tickets.at(-1)
  }

  /** The next new place is on a web that was threaded again. */
  rethread(): void {
    this.rethreaded = true
  }

  /** Takes a frame; of a place that is known already nothing changes. */
  take({ frame, place, positionUm }: { frame: number; place: number; positionUm: number }): void {
    if (place < this.places) return
    if (this.rethreaded) this.thread(place, positionUm)
    if (this.next) this.tickets.push({ ...this.next, firstPlace: this.places })
    this.next = undefined
    const from = this.places
    const lastUm = from > 0 ? this.at(from - 1) : positionUm
    const threading = this.threadings.at(-1)
    for (let unseen = from; unseen < place; unseen++) {
      const isOfThreading = threading !== undefined && from > threading.firstPlace
      const share = (unseen - from + 1) / (place - from + 1)
      this.push(isOfThreading ? lastUm + (positionUm - lastUm) * share : positionUm, -1)
    }
    this.push(positionUm, frame)
  }

  private thread(place: number, positionUm: number): void {
    const webUm = place > 0 && this.places > 0 ? this.webUm(this.places - 1) + this.pitchUm : 0
    this.threadings.push({ firstPlace: place, firstUm: positionUm, webUm })
    this.rethreaded = false
  }

  private push(positionUm: number, frame: number): void {
    if (this.places === this.positions.length) {
      this.positions = grown(this.positions)
      this.firstFrames = grown(this.firstFrames)
    }
    this.positions[this.places] = positionUm
    this.firstFrames[this.places] = frame
    this.places++
  }

  private at(place: number): number {
    const value = this.positions[place]
    assert(value !== undefined && place < this.places, 'a known place has a position')
    return value
  }

  /** Encoder position of a place, µm; between those seen, evenly, where it passed without a trigger. */
  positionUm(place: number): number {
    return this.at(place)
  }

  /** The frame under which a place was first seen; undefined where it passed without a trigger. */
  frame(place: number): number | undefined {
    const frame = this.firstFrames[place]
    return frame === undefined || frame < 0 || place >= this.places ? undefined : frame
  }

  threadingOf(place: number): Threading {
    const found = this.threadings.findLast((threading) => threading.firstPlace <= place) ?? this.threadings[0]
    assert(found, 'a web with places was threaded')
    return found
  }

  /** From the web's first mark to a place's, µm of web; a threading counts as one pitch, since what it took is not measured. */
  webUm(place: number): number {
    const { webUm, firstUm } = this.threadingOf(place)
    return webUm + this.at(place) - firstUm
  }

  /** Where the web ends, as far as it is known: one pitch behind the last mark. */
  get endUm(): number {
    return this.places === 0 ? 0 : this.webUm(this.places - 1) + this.pitchUm
  }

  ticketOf(place: number): TicketStretch {
    const found = this.tickets.findLast((stretch) => stretch.firstPlace <= place) ?? this.tickets[0]
    assert(found, 'a web with places ran under a ticket')
    return found
  }

  /**
   * Where an event of the material lies on the web. `placesThen`: places counted when it was recorded; `threading`: number of the one,
   * from 0, that its position is of. Without a position it lies behind the last place of that moment.
   */
  eventUm(positionUm: number | undefined, at: { readonly placesThen: number; readonly threading: number }): number {
    const upTo = Math.min(at.placesThen, this.places)
    if (upTo === 0) return 0
    if (positionUm === undefined) return this.webUm(upTo - 1) + this.pitchUm
    const threading = this.threadings[at.threading]
    assert(threading, 'an event behind the first mark is of a threading')
    return threading.webUm + positionUm - threading.firstUm
  }

  /** How far marks lie from one pitch apart, standard deviation, µm; spacings more than a quarter of a pitch off are left out. */
  scatterUm(): number {
    let [count, sum, squares] = [0, 0, 0]
    for (let place = 1; place < this.places; place++) {
      const off = this.at(place) - this.at(place - 1) - this.pitchUm
      if (Math.abs(off) > this.pitchUm / 4) continue
      count++
      sum += off
      squares += off * off
    }
    return count < 2 ? 0 : Math.sqrt(Math.max(0, squares / count - (sum / count) ** 2))
  }
}
