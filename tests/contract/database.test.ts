// The database contract on every engine.

import { describeDatabase } from './database.suite.ts'
import { databaseAdapters } from './database-adapters.ts'

for (const adapter of databaseAdapters) describeDatabase(adapter)
