// Decoding pictures of the web to gray levels, within limits and without trusting what a file claims.
import { open } from 'node:fs/promises'
import sharp from 'sharp'
import { limits } from '../kernel/limits.ts'
import { Problem, type ProblemPlace } from '../kernel/problem.ts'
import type { GrayPicture } from './gray.ts'
import { bytesInMemory, readTiffDirectory } from './tiff-directory.ts'

const isTiff = /^(4949(2a|2b)00|4d4d00(2a|2b))/ // TIFF 6.0 §2 and its 64-bit form

/** First bytes in hex, so that the loaders of other formats never see what comes from outside. */
const signatures = [
  /^89504e470d0a1a0a/, // PNG (RFC 2083 §3.1)
  /^ffd8ff/, // JPEG (ITU-T T.81 B.1.1.3)
  isTiff,
  /^52494646.{8}57454250/, // WebP (RFC 9649 §2.4); a length stands in between
]

/**
 * PNG, JPEG, TIFF or WebP as 8-bit luminance. Colour is weighted as the eye sees it, 16 bits are cut to 8, what is transparent is
 * white paper. `file` names the picture in problems. A TIFF has one page. An orientation tag is not heeded: pixels stand as the camera stored them.
 * Problems: `picture-unreadable` (also for a truncated file), `picture-too-large`.
 */
export async function decodeGray(source: { readonly bytes: Uint8Array; readonly file?: string }): Promise<GrayPicture> {
  const { bytes, file } = source
  const place = file === undefined ? {} : { file }
  if (bytes.length > limits.captureBytesMax) throw tooLarge({ ...place, measured: bytes.length }, 'bytes')
  const start = Buffer.from(bytes.subarray(0, 12)).toString('hex')
  if (!signatures.some((signature) => signature.test(start))) {
    throw unreadable(new Error('it is neither PNG, JPEG, TIFF nor WebP'), place)
  }
  if (isTiff.test(start)) checkTiff(bytes, place)
  try {
    await checkClaims(bytes, place)
    return await decode(bytes)
  } catch (error) {
    throw error instanceof Problem ? error : unreadable(error, place)
  }
}

async function decode(bytes: Uint8Array): Promise<GrayPicture> {
  const { data, info } = await sharp(bytes, { limitInputPixels: limits.capturePixelsMax, failOn: 'warning', pages: 1 })
    .flatten({ background: '#ffffff' })
    .toColourspace('b-w')
    .raw({ depth: 'uchar' })
    .toBuffer({ resolveWithObject: true })
  return { data: firstChannel(data, info.channels), width: info.width, height: info.height }
}

/** A picture's bytes; never more than the limit, whatever its size was a moment ago. Problems as in `decodeGray`. */
export async function readPictureFile(path: string): Promise<Uint8Array> {
  const place = { file: path }
  const handle = await open(path).catch((error: unknown) => {
    throw unreadable(error, place)
  })
  try {
    const { size } = await handle.stat()
    if (size > limits.captureBytesMax) throw tooLarge({ ...place, measured: size }, 'bytes')
    const bytes = new Uint8Array(size)
    const { bytesRead } = await handle.read(bytes, 0, size, 0)
    return bytes.subarray(0, bytesRead)
  } catch (error) {
    throw error instanceof Problem ? error : unreadable(error, place)
  } finally {
    await handle.close()
  }
}

// A decoder walks every page and every entry before it looks at a pixel: small files can keep it busy for minutes.
function checkTiff(bytes: Uint8Array, place: ProblemPlace): void {
  const directory = readTiffDirectory(bytesInMemory(bytes))
  if (!directory) throw unreadable(new Error("the TIFF's directory cannot be read"), place)
  if (!directory.isLast) throw unreadable(new Error('the TIFF has several pages'), place)
  if (directory.isCrowded) throw unreadable(new Error("the TIFF's entries name more bytes than the file holds"), place)
}

/** The header alone is looked at, so that a small file that claims a vast picture costs nothing. */
async function checkClaims(bytes: Uint8Array, place: ProblemPlace): Promise<void> {
  const header = await sharp(bytes, { limitInputPixels: false, failOn: 'warning' }).metadata()
  const pixels = header.width * header.height
  if (pixels > limits.capturePixelsMax) throw tooLarge({ ...place, measured: pixels }, 'pixels')
}

function firstChannel(data: Uint8Array, channels: number): Uint8Array {
  if (channels === 1) return data
  const first = new Uint8Array(data.length / channels)
  for (let index = 0; index < first.length; index++) first[index] = data[index * channels] ?? 0
  return first
}

function tooLarge(place: ProblemPlace & { readonly measured: number }, unit: 'bytes' | 'pixels'): Problem {
  const limit = unit === 'bytes' ? limits.captureBytesMax : limits.capturePixelsMax
  const name = place.file ?? 'the picture'
  return new Problem('picture-too-large', `${name} has ${place.measured} ${unit}; the limit is ${limit}`, {
    ...place,
    limit,
  })
}

function unreadable(error: unknown, place: ProblemPlace): Problem {
  const why = (error instanceof Error ? error.message : String(error)).split('\n', 1)[0]
  return new Problem('picture-unreadable', `${place.file ?? 'the picture'} cannot be decoded: ${why}`, place)
}
