import { databaseAdapters } from './database.adapters.ts'
import { describeDatabase } from './database.suite.ts'

for (const adapter of databaseAdapters) describeDatabase(adapter)
