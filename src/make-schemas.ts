// Writes the JSON Schemas of everything that people write by hand, made of the zod schemas, into `dist/schemas` at build time.
import { mkdirSync, writeFileSync } from 'node:fs'
import path from 'node:path'
import * as z from 'zod'
import { scenarioSchema } from './cli/index.ts'
import { configFileSchema } from './config.ts'
import { lineSchema, ticketSchema } from './lines/index.ts'
import { manifestSchema } from './packages/index.ts'
import { answerSchema, frameEventSchema, laidReportSchema, materialSchema } from './runs/index.ts'

const schemas: Readonly<Record<string, z.ZodType>> = {
  'rollcall.job-1': manifestSchema,
  'rollcall.line-1': lineSchema,
  'rollcall.ticket-1': ticketSchema,
  'rollcall.scenario-1': scenarioSchema,
  'rollcall.config': configFileSchema,
  'frame-event': frameEventSchema,
  answer: answerSchema,
  'laid-report': laidReportSchema,
  'material-event': materialSchema,
}

const folder = path.resolve(import.meta.dirname, '..', 'schemas')
mkdirSync(folder, { recursive: true })
for (const [name, schema] of Object.entries(schemas)) {
  const text = JSON.stringify(z.toJSONSchema(schema, { io: 'input' }), null, 2)
  writeFileSync(path.join(folder, `${name}.schema.json`), `${text}\n`)
}
