// The demo's jobs in the order in which they are run.
import { honeysScenario } from './larkmere-honeys/scenario.ts'
import { preservesScenario } from './quillgarth-preserves/scenario.ts'
import type { Scenario } from './scenario.ts'
import { ginsScenario } from './thrushwick-gins/scenario.ts'
import { yoghurtsScenario } from './wrenfold-yoghurts/scenario.ts'

export const demoScenarios: readonly Scenario[] = [preservesScenario, ginsScenario, yoghurtsScenario, honeysScenario]

export { ginsScenario, honeysScenario, preservesScenario, yoghurtsScenario }

/** Throws a RangeError for a name that no scenario has. */
export function scenarioNamed(name: string): Scenario {
  const found = demoScenarios.find((scenario) => scenario.name === name)
  if (!found) throw new RangeError(`the demo has no job ${name}`)
  return found
}
