// PNG (ISO/IEC 15948): the chunk chain from IHDR to IEND. Only lengths and names are looked at; the decoder checks the rest.
import type { FileBytes } from '../codes/index.ts'
import { type HeaderReading, type ImageFault, imageFault } from './image-fault.ts'

const headBytes = 8
const signatureBytes = 8
const chunksMax = 1_000_000

const colourTypes: Record<number, string> = {
  2: 'colour (RGB)',
  3: 'palette colour',
  4: 'gray with alpha',
  6: 'colour with alpha',
}

interface Chunks {
  readonly names: ReadonlySet<string>
  readonly whole: boolean
}

function readChunks(bytes: FileBytes): Chunks {
  const names = new Set<string>()
  let at = signatureBytes
  for (let count = 0; count < chunksMax; count += 1) {
    const head = bytes.read(at, headBytes)
    if (!head) return { names, whole: false }
    const name = head.toString('latin1', 4, 8)
    names.add(name)
    at += headBytes + head.readUInt32BE(0) + 4
    if (name === 'IEND') return { names, whole: at <= bytes.size }
  }
  return { names, whole: false }
}

/** Reads a PNG's header and finds what makes it unfit as a layer. */
export function readPngHeader(bytes: FileBytes): HeaderReading {
  const head = bytes.read(signatureBytes, headBytes + 13)
  if (head?.toString('latin1', 4, 8) !== 'IHDR') {
    return { faults: [imageFault('image-unreadable', 'the PNG ends within its header')] }
  }
  const faults: ImageFault[] = []
  const colour = colourTypes[head[17] as number]
  const { names, whole } = readChunks(bytes)
  if (colour) faults.push(imageFault('image-colour', 'not plain gray', { measured: colour, limit: 'gray' }))
  else if (names.has('tRNS')) {
    faults.push(
      imageFault('image-colour', 'one gray is declared transparent', { measured: 'gray with tRNS', limit: 'gray' }),
    )
  }
  if (names.has('acTL')) faults.push(imageFault('image-pages', 'an animation', { limit: 1 }))
  if (!whole) faults.push(imageFault('image-unreadable', 'the PNG is cut off: it does not reach its end mark IEND'))
  return {
    header: { format: 'png', widthPx: head.readUInt32BE(8), heightPx: head.readUInt32BE(12), bits: head[16] as number },
    faults,
  }
}
