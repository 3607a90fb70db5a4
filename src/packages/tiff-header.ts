// TIFF 6.0 and BigTIFF: the first image file directory. Layers must be one page of unsigned black-is-zero gray, stored losslessly.
import { type FileBytes, readTiffDirectory, type TiffDirectory } from '../codes/index.ts'
import { type HeaderReading, type ImageFault, imageFault } from './image-fault.ts'

const tags = {
  width: 256,
  height: 257,
  bits: 258,
  compression: 259,
  photometric: 262,
  stripOffsets: 273,
  orientation: 274,
  samples: 277,
  stripBytes: 279,
  tileOffsets: 324,
  tileBytes: 325,
  sampleFormat: 339,
} as const

// None, CCITT, LZW, Deflate (two numbers) and PackBits.
const losslessCompressions = new Set([1, 2, 3, 4, 5, 8, 32_946, 32_773])
const photometricNames: Record<number, string> = {
  0: 'white is zero',
  2: 'RGB',
  3: 'palette',
  5: 'CMYK',
  6: 'YCbCr',
  8: 'Lab',
}
function colourFault(directory: TiffDirectory): ImageFault | undefined {
  const photometric = directory.first(tags.photometric)
  const samples = directory.first(tags.samples) ?? 1
  if (photometric === 0) {
    // Two readers would take opposite sides on what 0 means, and 0 must mean nothing.
    return imageFault(
      'image-colour',
      'the TIFF says that white is zero; save it with black as zero, so that 0 is nothing',
      {
        measured: 'white is zero',
        limit: 'black is zero',
      },
    )
  }
  if (photometric === 1 && samples === 1) return undefined
  const measured = `${photometricNames[photometric ?? -1] ?? `photometric ${photometric}`}, ${samples} samples`
  return imageFault('image-colour', 'not plain gray', { measured, limit: 'gray, 1 sample' })
}

function storageFaults(directory: TiffDirectory): ImageFault[] {
  const faults: ImageFault[] = []
  const compression = directory.first(tags.compression) ?? 1
  if (!losslessCompressions.has(compression)) {
    faults.push(
      imageFault('image-lossy', 'the compression is lossy or not one of none, CCITT, LZW, Deflate and PackBits', {
        measured: compression,
      }),
    )
  }
  if (!directory.isLast) faults.push(imageFault('image-pages', 'the TIFF has several pages', { limit: 1 }))
  const orientation = directory.first(tags.orientation) ?? 1
  if (orientation !== 1) {
    faults.push(
      imageFault('image-unreadable', 'the TIFF asks to be turned or mirrored; save it upright', {
        measured: `orientation ${orientation}`,
        limit: 'orientation 1',
      }),
    )
  }
  const sampleFormat = directory.first(tags.sampleFormat) ?? 1
  if (sampleFormat !== 1) {
    faults.push(
      imageFault('image-depth', 'samples are not unsigned integers', { measured: `sample format ${sampleFormat}` }),
    )
  }
  return faults
}

// Every strip or tile must lie within the file; some decoders fill what is cut off with zeros.
function isWhole(bytes: FileBytes, directory: TiffDirectory): boolean {
  const offsets = directory.values(tags.stripOffsets) ?? directory.values(tags.tileOffsets)
  const lengths = directory.values(tags.stripBytes) ?? directory.values(tags.tileBytes)
  if (!directory.isWhole || !offsets || !lengths || offsets.length !== lengths.length) return false
  return offsets.every((offset, i) => offset + (lengths[i] ?? 0) <= bytes.size)
}

/** Reads a TIFF's header and finds what makes it unfit as a layer. */
export function readTiffHeader(bytes: FileBytes): HeaderReading {
  const directory = readTiffDirectory(bytes)
  const widthPx = directory?.first(tags.width)
  const heightPx = directory?.first(tags.height)
  if (!directory || !widthPx || !heightPx) {
    return { faults: [imageFault('image-unreadable', 'the TIFF is cut off or has no image directory')] }
  }
  const faults = storageFaults(directory)
  const colour = colourFault(directory)
  if (colour) faults.push(colour)
  if (directory.isCrowded)
    faults.push(imageFault('image-unreadable', "the TIFF's entries name more bytes than the file holds"))
  if (!isWhole(bytes, directory))
    faults.push(imageFault('image-unreadable', 'the TIFF is cut off: image data lies beyond its end'))
  return { header: { format: 'tiff', widthPx, heightPx, bits: directory.first(tags.bits) ?? 1 }, faults }
}
