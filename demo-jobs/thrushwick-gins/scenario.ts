// Job 2: three lanes of gin labels in three sizes, two rows a mark, each label with a Data Matrix code that a table explains.
import { openScenario } from '../scenario.ts'
import { dataMatrixModules } from '../symbols.ts'
import { neverReleased } from './designs.ts'
import { gins, winter } from './orders.ts'
import { plan } from './plan.ts'
import { codeSide } from './web.ts'

export const ginsScenario = openScenario({
  name: gins.folder,
  jobs: [gins, winter],
  plan,
  neverReleased: [neverReleased],
  escalations: [],
  captureSeed: 200_000,
  symbolOf: ({ text }) => dataMatrixModules(text, codeSide),
})
