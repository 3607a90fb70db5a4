// The door of storage: the database, the blobs and the data directory, each behind its port.
export { openFolderBlobs } from './blobs.ts'
export { type DataDirectory, dataPaths, openDataDirectory } from './data-directory.ts'
export { syncFolder, whereDiskFills } from './durable-files.ts'
export type * from './port.ts'
export { openSqlite } from './sqlite.ts'
