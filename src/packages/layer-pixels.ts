// Decoding a layer file to its exact gray values.
import sharp from 'sharp'
import { limits } from '../kernel/limits.ts'
import type { ImageHeader } from './image-fault.ts'

export interface LayerPixels {
  readonly widthPx: number
  readonly heightPx: number
  /** Row by row; 8 bit images as bytes (1 bit ones as 0 and 255), 16 bit ones as words. */
  readonly gray: Uint8Array | Uint16Array
  /** The value of full scale: 255 or 65,535. */
  readonly grayMax: number
}

// Files are read once and threads are many, so the decoder keeps nothing and works on one core.
sharp.cache(false)
sharp.concurrency(1)

const words = (bytes: Buffer): Uint16Array =>
  bytes.byteOffset % 2 === 0
    ? new Uint16Array(bytes.buffer, bytes.byteOffset, bytes.byteLength / 2)
    : new Uint16Array(Uint8Array.from(bytes).buffer)

/**
 * Decodes a gray PNG or TIFF whose header was accepted. Colour profiles are ignored: a layer's numbers are heights, not light. Throws
 * what the decoder throws when the data is cut off or damaged.
 */
export async function decodeLayer(source: string | Uint8Array, header: ImageHeader): Promise<LayerPixels> {
  const deep = header.bits === 16
  const image = sharp(source, { failOn: 'error', ignoreIcc: true, limitInputPixels: limits.imagePixelsMax })
  const { data, info } = await image
    .toColourspace(deep ? 'grey16' : 'b-w')
    .raw({ depth: deep ? 'ushort' : 'uchar' })
    .toBuffer({ resolveWithObject: true })
  if (info.channels !== 1 || info.width !== header.widthPx || info.height !== header.heightPx) {
    throw new Error(`decoded to ${info.width} × ${info.height} × ${info.channels}, unlike its header`)
  }
  return {
    widthPx: info.width,
    heightPx: info.height,
    gray: deep ? words(data) : data,
    grayMax: deep ? 65_535 : 255,
  }
}
