// The picture of a preview: heights shaded as if lit from the upper left, foil in one flat tone, on paper white.
import sharp from 'sharp'
import type { Tile } from './preview-tile.ts'

export interface PlacedTile {
  readonly tile: Tile
  readonly leftPx: number
  readonly topPx: number
  /** Height of full scale, µm; absent for foil. */
  readonly heightUm?: number
}

export interface PictureTask {
  readonly widthPx: number
  readonly heightPx: number
  readonly tiles: readonly PlacedTile[]
}

const paper = [247, 245, 240] as const
const varnish = [196, 210, 216] as const
const foil = [178, 152, 98] as const
/** Height at which the varnish tint is full. */
const tintUm = 120
/** Brightness for one µm of slope a pixel. */
const lightPerUm = 1.6
const lightMax = 90

interface Relief {
  readonly heightsUm: Float32Array
  readonly foilShare: Float32Array
}

function layDown({ widthPx, heightPx, tiles }: PictureTask): Relief {
  const heightsUm = new Float32Array(widthPx * heightPx)
  const foilShare = new Float32Array(widthPx * heightPx)
  for (const { tile, leftPx, topPx, heightUm } of tiles) {
    for (let y = 0; y < tile.heightPx; y += 1) {
      for (let x = 0; x < tile.widthPx; x += 1) {
        const [px, py] = [leftPx + x, topPx + y]
        if (px < 0 || py < 0 || px >= widthPx || py >= heightPx) continue
        const share = (tile.gray[y * tile.widthPx + x] as number) / 255
        const at = py * widthPx + px
        if (heightUm === undefined) foilShare[at] = Math.max(foilShare[at] as number, share)
        else heightsUm[at] = (heightsUm[at] as number) + share * heightUm
      }
    }
  }
  return { heightsUm, foilShare }
}

const mix = (from: number, to: number, share: number): number => from + (to - from) * share

function shade({ heightsUm, foilShare }: Relief, { widthPx, heightPx }: PictureTask): Uint8Array {
  const rgb = new Uint8Array(widthPx * heightPx * 3)
  const heightAt = (x: number, y: number): number =>
    heightsUm[Math.min(heightPx - 1, Math.max(0, y)) * widthPx + Math.min(widthPx - 1, Math.max(0, x))] as number
  for (let y = 0; y < heightPx; y += 1) {
    for (let x = 0; x < widthPx; x += 1) {
      const at = y * widthPx + x
      const rise = heightAt(x + 1, y + 1) - heightAt(x - 1, y - 1)
      const light = Math.max(-lightMax, Math.min(lightMax, rise * lightPerUm))
      const tint = Math.min(1, (heightsUm[at] as number) / tintUm)
      for (let channel = 0; channel < 3; channel += 1) {
        const ground = mix(paper[channel] as number, foil[channel] as number, foilShare[at] as number)
        const toned = mix(ground, varnish[channel] as number, tint * (1 - (foilShare[at] as number)))
        rgb[at * 3 + channel] = Math.max(0, Math.min(255, Math.round(toned + light)))
      }
    }
  }
  return rgb
}

/** Composes the tiles to a PNG. */
export async function drawPicture(task: PictureTask): Promise<Uint8Array> {
  const rgb = shade(layDown(task), task)
  const raw = { width: task.widthPx, height: task.heightPx, channels: 3 } as const
  return new Uint8Array(await sharp(rgb, { raw }).png({ compressionLevel: 9 }).toBuffer())
}
