// The door of protocol: objects and messages of the line, with their schemas; no server code, runs in browsers.
export * from './messages.ts'
export * from './objects.ts'
export { count, positionMm, textUpTo, wellFormed } from './parts.ts'
