// One segment of a set of serials: open addressing with linear probing over keys of two words and a tag. From a hundred serials on it
// grows by an eighth at a time, so no more than a quarter of its room is ever free; 8,000 serials are moved within a millisecond.
import { assert } from '../../kernel/assert.ts'
import { isTextKey, type SerialKey, setNumberHashes, textSlotHash } from './serial-key.ts'

/** Low word, high word (0 in a free slot), tag. */
const slotWords = 3
const slotsLeast = 8
const fillMost = 7 / 8
const growth = 9 / 8
/** Up to so many slots a segment doubles: a small set need not be tight. */
const doublesUpTo = 64
/** Before a text in the store: its length, its cell. */
const textBefore = 2

export class SerialSegment {
  count = 0
  private slots = new Uint32Array(slotsLeast * slotWords)
  private texts = new Uint16Array(0)
  private textsUsed = 0
  private textsGone = 0

  get bytes(): number {
    return this.slots.byteLength + this.texts.byteLength
  }

  /** Makes room for so many serials at once. */
  reserve(count: number): void {
    const slots = Math.ceil(count / fillMost) + 1
    if (slots > this.slots.length / slotWords) this.resize(slots)
  }

  get(key: SerialKey, serial: string, cell: number): number | undefined {
    const at = this.locate(key, serial, cell)
    return at < 0 ? undefined : this.slots[at + 2]
  }

  /** Gives the serial a tag and returns the one that it had. */
  set(key: SerialKey, { serial, cell, tag }: { serial: string; cell: number; tag: number }): number | undefined {
    const at = this.locate(key, serial, cell)
    if (at >= 0) {
      const former = this.slots[at + 2]
      this.slots[at + 2] = tag
      return former
    }
    if (this.count + 1 > (this.slots.length / slotWords) * fillMost) {
      const slots = this.slots.length / slotWords
      this.resize(slots <= doublesUpTo ? 2 * slots : Math.ceil(slots * growth))
    }
    if (isTextKey(key.high)) key.low = this.storeText(serial, cell)
    this.insert(key, tag)
    this.count++
    return undefined
  }

  delete(key: SerialKey, serial: string, cell: number): boolean {
    const at = this.locate(key, serial, cell)
    if (at < 0) return false
    if (isTextKey(this.slots[at + 1] as number)) this.textsGone += textBefore + serial.length
    this.closeGap(at)
    this.count--
    return true
  }

  /** Calls `each` for every serial that is a number, and `eachText` for the others. */
  visit(
    each: (low: number, high: number, tag: number) => void,
    eachText: (text: { serial: string; cell: number; tag: number }) => void,
  ): void {
    const { slots, texts } = this
    for (let at = 0; at < slots.length; at += slotWords) {
      const low = slots[at] as number
      const high = slots[at + 1] as number
      if (high === 0) continue
      if (!isTextKey(high)) {
        each(low, high, slots[at + 2] as number)
        continue
      }
      const start = low + textBefore
      const serial = String.fromCharCode(...texts.subarray(start, start + (texts[low] as number)))
      eachText({ serial, cell: texts[low + 1] as number, tag: slots[at + 2] as number })
    }
  }

  /** Gives every serial another tag. */
  retag(to: (tag: number) => number): void {
    const { slots } = this
    for (let at = 0; at < slots.length; at += slotWords) {
      if (slots[at + 1] !== 0) slots[at + 2] = to(slots[at + 2] as number)
    }
  }

  private home(slotHash: number): number {
    return Math.floor(slotHash * 2 ** -32 * (this.slots.length / slotWords)) * slotWords
  }

  /** Place of the slot that holds the key; -1 where none does. */
  private locate({ low, high, slotHash }: SerialKey, serial: string, cell: number): number {
    const { slots } = this
    const isText = isTextKey(high)
    for (let at = this.home(slotHash); ; at = at + slotWords === slots.length ? 0 : at + slotWords) {
      const there = slots[at + 1] as number
      if (there === 0) return -1
      if (there !== high) continue
      if (isText ? this.holdsText(slots[at] as number, serial, cell) : slots[at] === low) return at
    }
  }

  private holdsText(at: number, serial: string, cell: number): boolean {
    const { texts } = this
    if (texts[at] !== serial.length || texts[at + 1] !== cell) return false
    for (let i = 0; i < serial.length; i++) if (texts[at + textBefore + i] !== serial.charCodeAt(i)) return false
    return true
  }

  private insert({ low, high, slotHash }: SerialKey, tag: number): void {
    const { slots } = this
    let at = this.home(slotHash)
    while (slots[at + 1] !== 0) at = at + slotWords === slots.length ? 0 : at + slotWords
    slots[at] = low
    slots[at + 1] = high
    slots[at + 2] = tag
  }

  private slotHashAt(slots: Uint32Array, at: number, key: SerialKey): number {
    key.low = slots[at] as number
    key.high = slots[at + 1] as number
    if (isTextKey(key.high)) key.slotHash = textSlotHash(key.high)
    else setNumberHashes(key)
    return key.slotHash
  }

  private resize(count: number): void {
    const former = this.slots
    this.slots = new Uint32Array(count * slotWords)
    const key: SerialKey = { low: 0, high: 0, segmentHash: 0, slotHash: 0 }
    for (let at = 0; at < former.length; at += slotWords) {
      if (former[at + 1] === 0) continue
      this.slotHashAt(former, at, key)
      this.insert(key, former[at + 2] as number)
    }
  }

  /** Empties a slot and moves up what follows, so that every key is found without passing a free slot. */
  private closeGap(start: number): void {
    const { slots } = this
    const { length } = slots
    const key: SerialKey = { low: 0, high: 0, segmentHash: 0, slotHash: 0 }
    let gap = start
    for (let at = start; ; ) {
      at = at + slotWords === length ? 0 : at + slotWords
      if (slots[at + 1] === 0) break
      const home = this.home(this.slotHashAt(slots, at, key))
      // Its way from home to here leads over the gap.
      if ((at - home + length) % length < (at - gap + length) % length) continue
      slots.copyWithin(gap, at, at + slotWords)
      gap = at
    }
    slots.fill(0, gap, gap + slotWords)
  }

  private storeText(serial: string, cell: number): number {
    const size = textBefore + serial.length
    if (this.textsUsed + size > this.texts.length) this.moveTexts(size)
    const at = this.textsUsed
    const { texts } = this
    texts[at] = serial.length
    texts[at + 1] = cell
    for (let i = 0; i < serial.length; i++) texts[at + textBefore + i] = serial.charCodeAt(i)
    this.textsUsed += size
    return at
  }

  /** Moves the texts that are still there to a store with room for more. */
  private moveTexts(room: number): void {
    const { slots } = this
    const kept = this.textsUsed - this.textsGone
    const texts = new Uint16Array(Math.ceil((kept + room) * growth) + 16)
    let used = 0
    for (let at = 0; at < slots.length; at += slotWords) {
      if (!isTextKey(slots[at + 1] as number)) continue
      const from = slots[at] as number
      const size = textBefore + (this.texts[from] as number)
      texts.set(this.texts.subarray(from, from + size), used)
      slots[at] = used
      used += size
    }
    assert(used === kept, 'a segment keeps each text once')
    this.texts = texts
    this.textsUsed = used
    this.textsGone = 0
  }
}
