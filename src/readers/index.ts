// The door of readers: plain code readers and streams of pictures, which come in over TCP.
export { openReaders, type Readers, type ReadersView } from './readers.ts'
export { pictureStreamsSchema, type ReaderConfig, readersSchema } from './settings.ts'
export { watchStamps } from './stamp-error.ts'
