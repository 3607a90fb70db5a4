// Cuts what a socket sends into lines. Bounded: of a line that is too long nothing is kept, and it ends at its delimiter as any other.

export type Cut = { readonly kind: 'line'; readonly bytes: Uint8Array } | { readonly kind: 'too-long' }

interface CutterOptions {
  /** Absent: CR, LF or both. */
  readonly delimiter?: Uint8Array | undefined
  readonly bytesMax: number
}

const lineFeed = 0x0a
const carriageReturn = 0x0d

/** Where the next line ends and where the one behind it begins. */
function endOf(bytes: Buffer, delimiter: Uint8Array | undefined): { end: number; next: number } | undefined {
  if (delimiter) {
    const end = bytes.indexOf(delimiter)
    return end < 0 ? undefined : { end, next: end + delimiter.length }
  }
  const end = bytes.findIndex((byte) => byte === lineFeed || byte === carriageReturn)
  return end < 0 ? undefined : { end, next: end + 1 }
}

export class LineCutter {
  private readonly options: CutterOptions
  private rest: Buffer = Buffer.alloc(0)
  private tooLong = false

  constructor(options: CutterOptions) {
    this.options = options
  }

  /** Bytes that no delimiter has followed yet. */
  get unfinished(): boolean {
    return this.tooLong || this.rest.length > 0
  }

  /** The lines that end in these bytes; without a delimiter of their own, empty ones are left out. */
  take(chunk: Uint8Array): readonly Cut[] {
    const { delimiter, bytesMax } = this.options
    const cuts: Cut[] = []
    let bytes = this.rest.length === 0 ? Buffer.from(chunk) : Buffer.concat([this.rest, chunk])
    for (let found = endOf(bytes, delimiter); found; found = endOf(bytes, delimiter)) {
      const line = bytes.subarray(0, found.end)
      bytes = bytes.subarray(found.next)
      if (this.tooLong || line.length > bytesMax) cuts.push({ kind: 'too-long' })
      else if (line.length > 0 || delimiter) cuts.push({ kind: 'line', bytes: line })
      this.tooLong = false
    }
    this.keep(bytes)
    return cuts
  }

  // The beginning of a delimiter may stand at the end.
  private keep(bytes: Buffer): void {
    const { delimiter, bytesMax } = this.options
    const tail = (delimiter?.length ?? 1) - 1
    if (bytes.length <= bytesMax + tail) this.rest = Buffer.from(bytes)
    else {
      this.tooLong = true
      this.rest = Buffer.from(bytes.subarray(bytes.length - tail))
    }
  }
}
