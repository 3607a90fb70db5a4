import { queueAdapters } from './queue.adapters.ts'
import { describeQueue } from './queue.suite.ts'

for (const adapter of queueAdapters) describeQueue(adapter)
