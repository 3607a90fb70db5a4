// Scenario files: read, checked by their schema, every fault named with its JSON pointer.
import { Problem } from '../../kernel/problem.ts'
import { schemaFindings } from '../../kernel/schema-findings.ts'
import { about, jsonFile } from '../json-file.ts'
import { type Scenario, scenarioSchema } from './scenario.ts'

/** Problems: `not-found`, `body-not-json`, `scenario-schema` with every finding. */
export function readScenario(file: string): Promise<Scenario> {
  const read = async (): Promise<Scenario> => {
    const value = await jsonFile(file)
    const parsed = scenarioSchema.safeParse(value)
    if (parsed.success) return parsed.data
    const findings = schemaFindings(parsed.error, value, 'scenario-schema')
    const [first] = findings
    const count = findings.length > 1 ? `${findings.length} findings` : (first?.message ?? '')
    throw new Problem('scenario-schema', `the scenario does not fit its schema: ${count}`, { findings })
  }
  return about(file, read())
}
