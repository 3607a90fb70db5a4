// Pictures of the web from a camera, damaged on the way or made by somebody with no good in mind, through decoding and reading.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import sharp from 'sharp'
import { openReader, readPicture } from '../../../src/codes/index.ts'
import { decodeGray } from '../../../src/codes/pictures.ts'
import { systemClock } from '../../../src/kernel/clock.ts'
import { limits } from '../../../src/kernel/limits.ts'
import { drawScene, encode } from '../../drawn-symbols.ts'
import { byteEdits, editBytes } from '../arbitraries/byte-edits.ts'
import { pngCase, spellPng } from '../arbitraries/png-file.ts'
import { spellTiff, tiffCase } from '../arbitraries/tiff-file.ts'
import { answerOf, holds } from '../judge.ts'
import { defineTarget } from '../target.ts'

async function pictures(): Promise<readonly Buffer[]> {
  const modules = encode('qrcode', 'J/A/01/000001', { eclevel: 'M' })
  const scene = drawScene({ width: 240, height: 180, blurPx: 0.6, symbols: [{ modules, modulePx: 4, x: 110, y: 90 }] })
  const gray = () => sharp(scene.data, { raw: { width: scene.width, height: scene.height, channels: 1 } })
  return Promise.all([
    gray().png().toBuffer(),
    gray().jpeg({ quality: 90 }).toBuffer(),
    gray().jpeg({ quality: 60, progressive: true }).toBuffer(),
    gray().tiff({ compression: 'lzw' }).toBuffer(),
    gray().tiff({ compression: 'jpeg' }).toBuffer(),
    gray().webp({ lossless: true }).toBuffer(),
    gray().webp({ quality: 60 }).toBuffer(),
    gray().toColourspace('srgb').ensureAlpha(0.5).png().toBuffer(),
  ])
}

export const capturesTarget = defineTarget({
  name: 'captures',
  module: import.meta.url,
  about: 'pictures of the web: decoded to as many pixels as they say and read, or refused as unreadable or too large',
  bounds: { caseCpuMsMax: 5_000, growthMiBMax: 512 },
  cases: { short: 200, long: 3_000 },
  arbitrary: fc.oneof(
    { weight: 6, arbitrary: fc.record({ kind: fc.constant('damaged' as const), base: fc.nat(7), edits: byteEdits }) },
    { weight: 2, arbitrary: fc.record({ kind: fc.constant('png' as const), one: pngCase }) },
    { weight: 2, arbitrary: fc.record({ kind: fc.constant('tiff' as const), one: tiffCase }) },
  ),
  meets: ['taken', 'read', 'picture-unreadable'],
  async open() {
    const bases = await pictures()
    const folder = await mkdtemp(join(tmpdir(), 'captures-'))
    const path = join(folder, 'picture')
    const tools = { reader: await openReader(), clock: systemClock }
    const run = async (bytes: Uint8Array): Promise<string> => {
      await writeFile(path, bytes)
      return answerOf(async () => {
        const picture = await decodeGray({ bytes })
        const { data, width, height } = picture
        holds(data.length === width * height && data.length <= limits.capturePixelsMax, 'one byte a pixel')
        // Reading costs what there is to look at; large pictures are decoded only.
        if (data.length > 1_000_000) return 'taken'
        const { codes } = await readPicture({ kind: 'picture', path }, tools)
        return codes.length > 0 ? 'read' : 'taken'
      })
    }
    for (const base of bases) await run(base)
    return {
      run(one) {
        if (one.kind === 'png') return run(spellPng(one.one))
        if (one.kind === 'tiff') return run(spellTiff(one.one))
        return run(editBytes(bases[one.base % bases.length]!, one.edits))
      },
      close: () => rm(folder, { recursive: true }),
    }
  },
})
