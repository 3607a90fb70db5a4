// All targets, in the order in which the long run takes them.
import type { Target } from './target.ts'
import { capturesTarget } from './targets/captures.ts'
import { gs1Target } from './targets/gs1.ts'
import { damagedTarget, pngTarget, tiffTarget } from './targets/layer-files.ts'
import { manifestTarget } from './targets/manifest.ts'
import { templatesTarget } from './targets/templates.ts'
import { zipsTarget } from './targets/zips.ts'

export const targets: readonly Target[] = [
  manifestTarget,
  templatesTarget,
  gs1Target,
  pngTarget,
  tiffTarget,
  damagedTarget,
  capturesTarget,
  zipsTarget,
]

export function findTarget(name: string): Target {
  const found = targets.find((target) => target.name === name)
  if (!found)
    throw new Error(`there is no target ${name}; there are ${targets.map((target) => target.name).join(', ')}`)
  return found
}
