import { blobsAdapters } from './blobs.adapters.ts'
import { describeBlobs } from './blobs.suite.ts'

for (const adapter of blobsAdapters) describeBlobs(adapter)
