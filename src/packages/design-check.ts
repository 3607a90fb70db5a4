// Rules on designs and their layers that a schema can't state.
import type { Rule } from '../codes/index.ts'
import type { Finding } from '../kernel/problem.ts'
import { cellRoom } from './clear-zones.ts'
import { duplicatesIn } from './duplicates.ts'
import { frameRect, overhangMm, toleranceMm } from './frame-geometry.ts'
import type { ManifestDesign, ManifestFrame, ManifestLayer } from './manifest.ts'

const file = 'job.json'
const roundMm = (mm: number): number => Math.round(mm * 1e6) / 1e6

function kindFinding({ heightUm, foil, station }: ManifestLayer, pointer: string): Finding | undefined {
  const schemaFinding = (message: string): Finding => ({ code: 'manifest-schema', file, pointer, message })
  if (heightUm === undefined && foil === undefined) {
    return schemaFinding('a layer has heightUm (a height layer) or foil (a foil mask); this one has neither')
  }
  if (heightUm !== undefined && foil !== undefined) {
    return schemaFinding('a layer has heightUm (a height layer) or foil (a foil mask); this one has both')
  }
  if (foil !== undefined && station !== 'foil') {
    return {
      ...schemaFinding(`a foil mask belongs at a foil station, not at ${station}`),
      pointer: `${pointer}/station`,
      measured: station,
      limit: 'foil',
    }
  }
  return undefined
}

// The cell that a layer overhangs least, with bleed; the layer fits if that is nothing.
function placeFinding(layer: ManifestLayer, pointer: string, frame: ManifestFrame): Finding | undefined {
  const rooms =
    layer.scope === 'cell'
      ? frame.cells.map((cell) => ({ what: `cell ${cell.cell} with ${cell.bleedMm} mm bleed`, room: cellRoom(cell) }))
      : [{ what: 'the frame', room: frameRect(frame) }]
  let best: { what: string; overMm: number } | undefined
  for (const { what, room } of rooms) {
    const overMm = overhangMm(layer.placement, room)
    if (best === undefined || overMm < best.overMm) best = { what, overMm }
  }
  if (best === undefined || best.overMm <= toleranceMm) return undefined
  const nearest = rooms.length > 1 ? ', the one that it fits best' : ''
  return {
    code: 'layer-out-of-place',
    file,
    pointer: `${pointer}/placement`,
    message: `layer ${layer.layer} reaches ${roundMm(best.overMm)} mm beyond ${best.what}${nearest}`,
    measured: roundMm(best.overMm),
    limit: 0,
  }
}

function layerFindings(layer: ManifestLayer, pointer: string, frame: ManifestFrame | undefined): Finding[] {
  return [kindFinding(layer, pointer), frame && placeFinding(layer, pointer, frame)].filter(
    (finding) => finding !== undefined,
  )
}

function nameFindings({ design, printVersions }: ManifestDesign, pointer: string, rule: Rule | undefined): Finding[] {
  if (rule === undefined) return []
  const reason = rule.canName({ design })
  if (reason !== undefined) {
    return [
      {
        code: 'design-unmatchable',
        file,
        pointer: `${pointer}/design`,
        message: `no code can name ${design}: ${reason}`,
        measured: design,
      },
    ]
  }
  if (!rule.carries.print) return []
  return printVersions.flatMap((print, i) => {
    const printReason = rule.canName({ design, print })
    if (printReason === undefined) return []
    return [
      {
        code: 'print-version-unmatchable' as const,
        file,
        pointer: `${pointer}/printVersions/${i}`,
        message: `no code can name print version ${print} of ${design}: ${printReason}`,
        measured: print,
      },
    ]
  })
}

/** Everything wrong with the designs that fit their schema; frame and rule take part where they could be read. */
export function checkDesigns(
  designs: readonly (ManifestDesign | undefined)[],
  { frame, rule }: { frame: ManifestFrame | undefined; rule: Rule | undefined },
): Finding[] {
  const findings = duplicatesIn(designs, '/designs', (design) => design && `design ${design.design}`)
  for (const [i, design] of designs.entries()) {
    if (!design) continue
    const pointer = `/designs/${i}`
    const layersAt = `${pointer}/layers`
    findings.push(
      ...duplicatesIn(design.printVersions, `${pointer}/printVersions`, (print) => `print version ${print}`),
      ...duplicatesIn(design.layers, layersAt, ({ layer }) => `layer ${layer}`),
      ...duplicatesIn(design.layers, layersAt, ({ pass, order }) => `order ${order} of pass ${pass}`),
      ...nameFindings(design, pointer, rule),
      ...design.layers.flatMap((layer, j) => layerFindings(layer, `${layersAt}/${j}`, frame)),
    )
  }
  return findings
}
