// The door of the command line.

export type { CliParts } from './command.ts'
export { type Output, openOutput, table } from './output.ts'
export { runCli } from './program.ts'
export { connect, type RunningServer, type ServeOptions, type Server, type StartServer } from './server.ts'
export { scenarioSchema } from './simulate/index.ts'
