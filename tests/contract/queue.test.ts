// The work queue contract on every queue.

import { describeQueue } from './queue.suite.ts'
import { queueAdapters } from './queue-adapters.ts'
import { describeQueueEndings } from './queue-endings.suite.ts'

for (const adapter of queueAdapters) {
  describeQueue(adapter)
  describeQueueEndings(adapter)
}
