// Where a roll's captures are drawn: gray JPEGs of one frame each, as a line camera above the web would take them.
import sharp from 'sharp'
import { marginPx, openSheets, printedCodes, type SheetParts } from './capture-sheet.ts'
import { openStencils } from './capture-stencils.ts'
import { openCamera, viewOf } from './capture-view.ts'
import type { DemoJob } from './orders.ts'
import { seeded } from './random.ts'
import type { ScenarioFrame } from './roll.ts'
import { px } from './web.ts'

const jpegQuality = 88

export interface StudioParts extends Pick<SheetParts, 'web' | 'seed' | 'symbolOf'> {
  /** Every job with labels on the roll. */
  readonly jobs: readonly DemoJob[]
  /** What was printed on a label's cell; the label's own design unless said otherwise. */
  readonly artOf?: SheetParts['artOf']
}

type Draw = (frame: ScenarioFrame) => Promise<Buffer>

function openDrawing(parts: StudioParts): Draw {
  const { web, seed, jobs, artOf = (label) => label } = parts
  const withSheet = openSheets({ ...parts, artOf, stencils: openStencils(jobs) })
  const camera = openCamera({ width: px(web.webWidthMm), height: px(web.pitchMm), marginPx })
  return async (frame) => {
    const view = viewOf(seed + 50_000 + frame.frame)
    const picture = await withSheet(frame, (sheet) => camera.take(sheet, view))
    const random = seeded(seed + 90_000 + frame.frame)
    for (const { label, corner, codePx } of printedCodes(web, frame)) {
      if (label.look !== 'glared') continue
      const half = codePx / 2
      const spot = { x: corner.x + half + random() * 8, y: corner.y + half - random() * 8, codePx }
      camera.glare(picture, spot, view, random)
    }
    return sharp(picture.data, { raw: { width: picture.width, height: picture.height, channels: 1 } })
      .toColourspace('b-w')
      .jpeg({ quality: jpegQuality, optimiseCoding: false })
      .toBuffer()
  }
}

/** Nothing is drawn before the first frame is asked for. The same frame gives the same picture. */
export function openStudio(parts: StudioParts): Draw {
  let draw: Draw | undefined
  return (frame) => {
    draw ??= openDrawing(parts)
    return draw(frame)
  }
}
