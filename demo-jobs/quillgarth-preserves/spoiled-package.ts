// The delivery that must be refused, with a finding for each of its faults. It is made of two designs of a sound one.
import { join } from 'node:path'
import sharp, { type Sharp } from 'sharp'
import { sha256Hex } from '../../src/kernel/bytes.ts'
import { type DrawnDesign, type DrawnPackage, manifestOf } from '../drawn-package.ts'
import { foilMask } from '../layer-files.ts'
import { preserves } from './orders.ts'
import { codeAt } from './web.ts'

type Layer = DrawnDesign['layers'][number]

/** What is wrong with the spoiled package: problem code, and the file or design where it lies. */
export const spoiledFaults = [
  { code: 'image-colour', where: 'varnish/plum-en-v3.png' },
  { code: 'file-digest', where: 'foil/plum-en-v3.png' },
  { code: 'image-format', where: 'varnish/plum-fr-v3.png' },
  { code: 'art-over-code', where: 'foil/plum-fr-v3.png' },
  { code: 'file-extra', where: 'proofs/read-me.txt' },
] as const

function layerNamed(design: DrawnDesign, name: string): Layer {
  const layer = design.layers.find((candidate) => candidate.layer === name)
  if (!layer) throw new Error(`invariant broken: ${design.design} has a layer ${name}`)
  return layer
}

const sizeOf = (layer: Layer): { width: number; height: number } => ({
  width: Math.round((layer.placement.widthMm / 25.4) * layer.resolution.acrossDpi),
  height: Math.round((layer.placement.heightMm / 25.4) * layer.resolution.alongDpi),
})

const flatPicture = (layer: Layer): Sharp =>
  sharp({ create: { ...sizeOf(layer), channels: 3, background: { r: 212, g: 163, b: 60 } } })

/** Foil right across the code and its quiet zone. */
const floodOverCode = (): Promise<Uint8Array> => {
  const band = `<rect x="4" y="${codeAt.topMm + 2}" width="40" height="5" fill="#fff"/>`
  return foilMask(
    { region: { leftMm: 2, topMm: 2, widthMm: 44, heightMm: 50 }, mask: band },
    { dpi: 600, format: 'png' },
  )
}

const third = (design: DrawnDesign, layers: readonly Layer[]): DrawnDesign => ({ ...design, version: 3, layers })

/** Draws it from the package that delivered the version before. */
export async function spoiledPackage(sound: DrawnPackage): Promise<DrawnPackage> {
  const find = (name: string): DrawnDesign => {
    const design = sound.manifest.designs.find((candidate) => candidate.design === name)
    if (!design) throw new Error(`invariant broken: the sound package has ${name}`)
    return design
  }
  const [english, french] = [find('PLUM-EN'), find('PLUM-FR')]
  const files = new Map<string, Uint8Array>()
  const listed = (layer: Layer, file: string, bytes: Uint8Array): Layer => {
    files.set(file, bytes)
    return { ...layer, file, sha256: sha256Hex(bytes) }
  }
  const englishRelief = layerNamed(english, 'relief')
  const frenchRelief = layerNamed(french, 'relief')
  const mask = await floodOverCode()
  const designs = [
    third(english, [
      { ...listed(layerNamed(english, 'gold'), 'foil/plum-en-v3.png', mask), sha256: sha256Hex('another file') },
      listed(englishRelief, 'varnish/plum-en-v3.png', await flatPicture(englishRelief).png().toBuffer()),
    ]),
    third(french, [
      listed(layerNamed(french, 'gold'), 'foil/plum-fr-v3.png', mask),
      listed(frenchRelief, 'varnish/plum-fr-v3.png', await flatPicture(frenchRelief).jpeg().toBuffer()),
    ]),
  ]
  files.set('proofs/read-me.txt', Buffer.from('Plum, third version: please use the new foil.\n'))
  return {
    folder: join(preserves.folder, 'package-4-spoiled'),
    manifest: manifestOf(preserves, { package: 4, designs }),
    files,
  }
}
