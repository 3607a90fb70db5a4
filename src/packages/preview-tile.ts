// One layer's share of a preview: cut to what shows, turned, made small.
import sharp from 'sharp'
import { limits } from '../kernel/limits.ts'

/** A rectangle in pixels. */
export interface CutPx {
  readonly left: number
  readonly top: number
  readonly width: number
  readonly height: number
}

export interface TileTask {
  readonly bytes: Uint8Array
  /** What to take of the layer, in its own pixels. */
  readonly cut: CutPx
  /** Clockwise turn of what was cut. */
  readonly rotateDeg: number
  readonly widthPx: number
  readonly heightPx: number
}

export interface Tile {
  readonly widthPx: number
  readonly heightPx: number
  /** 255 is full scale. */
  readonly gray: Uint8Array
}

/** Draws a tile. Throws what the decoder throws; published layers were decoded before. */
export async function drawTile({ bytes, cut, rotateDeg, widthPx, heightPx }: TileTask): Promise<Tile> {
  const options = { failOn: 'error', ignoreIcc: true, limitInputPixels: limits.imagePixelsMax } as const
  const turned = await sharp(bytes, options)
    .toColourspace('b-w')
    .extract(cut)
    .rotate(rotateDeg)
    .raw({ depth: 'uchar' })
    .toBuffer({ resolveWithObject: true })
  const { width, height, channels } = turned.info
  const gray = await sharp(turned.data, { raw: { width, height, channels } })
    .resize(widthPx, heightPx, { fit: 'fill' })
    .toColourspace('b-w')
    .raw()
    .toBuffer()
  return { widthPx, heightPx, gray: new Uint8Array(gray) }
}
