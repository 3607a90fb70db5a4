// Layer files: PNG and TIFF with lies in their headers, and whole files with damage, through the package's layer check.
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import fc from 'fast-check'
import { checkLayerFile, type LayerUse } from '../../../src/packages/layer-check.ts'
import type { Manifest, ManifestLayer } from '../../../src/packages/manifest.ts'
import { grayImage, labelPx, plainManifest, relief } from '../../fixtures/packages.ts'
import { type ByteEdit, byteEdits, editBytes } from '../arbitraries/byte-edits.ts'
import { pngCase, spellPng } from '../arbitraries/png-file.ts'
import { spellTiff, tiffCase } from '../arbitraries/tiff-file.ts'
import { codeOf, holds } from '../judge.ts'
import { defineTarget, type Stage } from '../target.ts'

function layersOf(manifest: Manifest): readonly ManifestLayer[] {
  return manifest.designs[0]!.layers
}

// A height layer and a foil mask are drawn from the file, each with a code to be left free.
function usesOf(): readonly LayerUse[] {
  return layersOf(plainManifest()).map((layer, i) => ({
    pointer: `/designs/0/layers/${i}`,
    layer,
    zones: [
      {
        code: 'art-over-code' as const,
        what: 'the code of cell 1',
        rectMm: { leftMm: 14, topMm: 0, widthMm: 5, heightMm: 5 },
      },
    ],
  }))
}

async function openLayerStage<Case>(spell: (one: Case) => Promise<Buffer> | Buffer): Promise<Stage<Case>> {
  const folder = await mkdtemp(join(tmpdir(), 'layer-'))
  const stored = join(folder, '0')
  const uses = usesOf()
  const check = async (bytes: Uint8Array): Promise<string> => {
    await writeFile(stored, bytes)
    const { findings, facts } = await checkLayerFile({ file: 'a.png', stored, uses })
    for (const { pointer } of findings)
      holds(
        uses.some((use) => use.pointer === pointer),
        'a finding names a use of the file',
      )
    for (const one of Object.values(facts)) {
      const numbers = [
        one.coveragePercent,
        one.varnishMl ?? 0,
        one.lineUmMin ?? 0,
        one.gapUmMin ?? 0,
        one.heightUmMax ?? 0,
      ]
      for (const value of numbers) holds(Number.isFinite(value) && value >= 0, 'facts are finite')
    }
    return codeOf(findings)
  }
  await check(await grayImage(labelPx, relief(255)).png().toBuffer())
  await check(await grayImage(labelPx, relief(255)).tiff({ compression: 'lzw' }).toBuffer())
  return { run: async (one) => check(await spell(one)), close: () => rm(folder, { recursive: true }) }
}

const bounds = { caseCpuMsMax: 4_000, growthMiBMax: 512 }

export const pngTarget = defineTarget({
  name: 'layer-png',
  module: import.meta.url,
  about: 'PNG layer files: findings with codes, facts that are finite, no decoder gone astray',
  bounds,
  cases: { short: 300, long: 4_000 },
  arbitrary: pngCase,
  meets: ['taken', 'image-unreadable', 'image-colour', 'image-depth', 'image-size'],
  open: () => openLayerStage(spellPng),
})

export const tiffTarget = defineTarget({
  name: 'layer-tiff',
  module: import.meta.url,
  about: 'TIFF and BigTIFF layer files: findings with codes, facts that are finite, no decoder gone astray',
  bounds,
  cases: { short: 300, long: 4_000 },
  arbitrary: tiffCase,
  meets: ['taken', 'image-unreadable', 'image-depth', 'image-size'],
  open: () => openLayerStage(spellTiff),
})

interface Damaged {
  readonly base: number
  readonly edits: readonly ByteEdit[]
}

/** Files as encoders write them. */
async function encoded(): Promise<readonly Buffer[]> {
  const image = () => grayImage(labelPx, relief(255))
  return Promise.all([
    image().png().toBuffer(),
    image().png({ progressive: true }).toBuffer(),
    image().png({ compressionLevel: 0 }).toBuffer(),
    image().tiff({ compression: 'none' }).toBuffer(),
    image().tiff({ compression: 'lzw' }).toBuffer(),
    image().tiff({ compression: 'deflate', predictor: 'horizontal' }).toBuffer(),
    image().tiff({ compression: 'ccittfax4', bitdepth: 1 }).toBuffer(),
    image().tiff({ compression: 'packbits' }).toBuffer(),
    image().tiff({ compression: 'deflate', tile: true, tileWidth: 64, tileHeight: 64 }).toBuffer(),
    image().tiff({ compression: 'lzw', pyramid: true, tile: true }).toBuffer(),
  ])
}

export const damagedTarget = defineTarget({
  name: 'layer-damaged',
  module: import.meta.url,
  about: 'layer files as encoders write them, with damage anywhere',
  bounds,
  cases: { short: 300, long: 4_000 },
  arbitrary: fc.record({ base: fc.nat(9), edits: byteEdits }),
  meets: ['taken', 'image-unreadable', 'image-format'],
  async open() {
    const files = await encoded()
    return openLayerStage<Damaged>(({ base, edits }) => editBytes(files[base % files.length]!, edits))
  },
})
