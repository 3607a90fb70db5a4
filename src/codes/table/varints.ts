// Whole numbers from 0 to 2⁵³ − 1 as bytes, seven bits each, low ones first.

export interface VarintWriter {
  put(value: number): void
  /** What was put since the last time. */
  take(): Uint8Array
}

export function openVarintWriter(): VarintWriter {
  let bytes = Buffer.allocUnsafe(64 * 1024)
  let used = 0
  return {
    put(value) {
      if (used + 8 > bytes.length) bytes = Buffer.concat([bytes, Buffer.allocUnsafe(bytes.length)])
      let rest = value
      while (rest >= 0x80) {
        bytes[used++] = (rest % 0x80) | 0x80
        rest = Math.floor(rest / 0x80)
      }
      bytes[used++] = rest
    },
    take() {
      const taken = Uint8Array.prototype.slice.call(bytes, 0, used)
      used = 0
      return taken
    },
  }
}

export interface VarintReader {
  readonly at: number
  /** −1 where there is no number. */
  next(): number
}

export function openVarintReader(bytes: Uint8Array, from: number): VarintReader {
  let at = from
  return {
    get at() {
      return at
    },
    next() {
      let value = 0
      for (let scale = 1; scale <= 2 ** 49; scale *= 0x80) {
        const byte = bytes[at++]
        if (byte === undefined) return -1
        value += (byte & 0x7f) * scale
        if (byte < 0x80) return Number.isSafeInteger(value) ? value : -1
      }
      return -1
    },
  }
}

/** Differences of either sign as whole numbers from 0. */
export const zigzag = (value: number): number => (value < 0 ? -2 * value - 1 : 2 * value)
/** NaN for a number that was not there. */
export const unzigzag = (value: number): number =>
  value < 0 ? Number.NaN : value % 2 === 0 ? value / 2 : -(value + 1) / 2
