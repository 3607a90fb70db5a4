// A layer's sum as text for the database: numbers as JSON, profiles and the map of maxima packed (most of a map is 0).
import { deflateSync, inflateSync } from 'node:zlib'
import type { LayerSum } from './layer-sums.ts'

type Numbers = Float64Array | Uint16Array

// In this machine's byte order: the database lies on the machine that reads it, and a sum can be worked out again at any time.
const packed = (numbers: Numbers): string =>
  deflateSync(new Uint8Array(numbers.buffer, numbers.byteOffset, numbers.byteLength)).toString('base64')

const unpacked = (text: string): ArrayBuffer => Uint8Array.from(inflateSync(Buffer.from(text, 'base64'))).buffer

export function packSum({ along, across, tiles, ...plain }: LayerSum): string {
  return JSON.stringify({ ...plain, along: packed(along), across: packed(across), tiles: packed(tiles) })
}

/** The inverse of `packSum`, to the bit. */
export function unpackSum(text: string): LayerSum {
  const { along, across, tiles, ...plain } = JSON.parse(text) as Omit<LayerSum, 'along' | 'across' | 'tiles'> &
    Record<'along' | 'across' | 'tiles', string>
  return {
    ...plain,
    along: new Float64Array(unpacked(along)),
    across: new Float64Array(unpacked(across)),
    tiles: new Uint16Array(unpacked(tiles)),
  }
}
