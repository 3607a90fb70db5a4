// The blob store contract on every store.

import { describeBlobs } from './blobs.suite.ts'
import { blobsAdapters } from './blobs-adapters.ts'

for (const adapter of blobsAdapters) describeBlobs(adapter)
