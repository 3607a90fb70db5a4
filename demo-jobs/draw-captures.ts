// Draws captures of the demo's roll: gray JPEGs of one frame each, as a line camera above the web would take them.
// `npx tsx demo-jobs/draw-captures.ts <folder> [first] [last]` writes them into a folder.
import { mkdir, rename, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import sharp from 'sharp'
import { codeCorner, composeSheet, sheetStencils } from './capture-sheet.ts'
import { glare, takePicture, viewOf } from './capture-view.ts'
import { seeded } from './random.ts'
import { roll, type ScenarioFrame } from './scenario.ts'
import { camera, codeAt } from './web.ts'

const jpegQuality = 88

/** `<frame, six digits>_<position in µm>.jpg`. */
export const captureName = ({ frame, positionUm }: ScenarioFrame): string =>
  `${String(frame).padStart(6, '0')}_${positionUm}.jpg`

/** A frame's capture: 2200 × 600 pixels, 10 a millimetre, 8-bit gray, as JPEG. The same frame gives the same picture. */
export async function drawCapture(frame: ScenarioFrame): Promise<Buffer> {
  const stencils = await sheetStencils(frame)
  const view = viewOf(frame.frame)
  const picture = takePicture(composeSheet(frame, stencils), view)
  const random = seeded(90_000 + frame.frame)
  for (const label of frame.labels.filter(({ look }) => look === 'glared')) {
    const corner = codeCorner(label.cell)
    const half = (codeAt.widthMm * camera.pxPerMm) / 2
    glare(picture, { x: corner.x + half + random() * 8, y: corner.y + half - random() * 8 }, view, random)
  }
  return sharp(picture.data, { raw: { width: picture.width, height: picture.height, channels: 1 } })
    .toColourspace('b-w')
    .jpeg({ quality: jpegQuality, optimiseCoding: false })
    .toBuffer()
}

/** Draws a frame's capture into a folder, whole or not at all, and returns its path. */
export async function writeCapture(frame: ScenarioFrame, folder: string): Promise<string> {
  const path = join(folder, captureName(frame))
  const unfinished = join(folder, `.${captureName(frame)}.part`)
  await writeFile(unfinished, await drawCapture(frame))
  await rename(unfinished, path)
  return path
}

if (import.meta.filename === process.argv[1]) {
  const [folder = 'captures', first = '0', last = String(roll.length - 1)] = process.argv.slice(2)
  await mkdir(folder, { recursive: true })
  for (const frame of roll.slice(Number(first), Number(last) + 1)) {
    process.stdout.write(`${await writeCapture(frame, folder)}\n`)
  }
}
