// All targets, in the order in which the long run takes them.
import type { Target } from './target.ts'
import { capturesTarget } from './targets/captures.ts'
import { indexesTarget } from './targets/code-indexes.ts'
import { tablesTarget } from './targets/code-tables.ts'
import { feedsTarget } from './targets/feeds.ts'
import { gs1Target } from './targets/gs1.ts'
import { httpTarget } from './targets/http.ts'
import { damagedTarget, pngTarget, tiffTarget } from './targets/layer-files.ts'
import { ledgersTarget } from './targets/ledgers.ts'
import { linesTarget } from './targets/lines-and-tickets.ts'
import { manifestTarget } from './targets/manifest.ts'
import { packagesTarget } from './targets/packages.ts'
import { runTarget } from './targets/run-events.ts'
import { sequencesTarget } from './targets/sequences.ts'
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
  packagesTarget,
  runTarget,
  linesTarget,
  feedsTarget,
  tablesTarget,
  sequencesTarget,
  indexesTarget,
  ledgersTarget,
  httpTarget,
]

export function findTarget(name: string): Target {
  const found = targets.find((target) => target.name === name)
  if (!found)
    throw new Error(`there is no target ${name}; there are ${targets.map((target) => target.name).join(', ')}`)
  return found
}
