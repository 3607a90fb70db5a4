// The command of readiness: whether a ticket may run on a line now, once or again whenever that changes.
import { setTimeout as pause } from 'node:timers/promises'
import type { AddCommand } from './command.ts'
import { followWork } from './commands-packages.ts'
import type { Output } from './output.ts'
import { type ReadinessReply, readinessText } from './readiness-text.ts'
import type { Server } from './server.ts'

interface Names {
  readonly ticket: string
  readonly line: string
}

async function show(server: Server, names: Names, output: Output): Promise<ReadinessReply> {
  const work = await server.send<{ id: string }>('POST', '/readiness', names)
  const found = await followWork<ReadinessReply>(server, work.id, output)
  output.result(found, readinessText(found, names))
  return found
}

const pollMs = 1_000

// Until the command is ended.
async function watch(server: Server, names: Names, output: Output): Promise<never> {
  const target = `/readiness/revision?${new URLSearchParams({ ...names })}`
  for (;;) {
    const { revision } = await server.get<{ revision: string }>(target)
    await show(server, names, output)
    output.line('watching: printed again when it changes')
    do await pause(pollMs)
    while ((await server.get<{ revision: string }>(target)).revision === revision)
  }
}

/** Adds `readiness`. */
export function readinessCommand(add: AddCommand): void {
  add<Names & { watch?: boolean }>(
    'readiness',
    'Whether a ticket may run on a line now: blockers and warnings, the labels concerned, what would mend them',
    (command) =>
      command
        .requiredOption('--ticket <ticket>', 'name of a stored ticket')
        .requiredOption('--line <line>', 'name of a stored line')
        .option('--watch', 'stay, and print it again whenever it changes'),
    ({ withServer, output }, { ticket, line, watch: stays }) =>
      withServer(async (server) => {
        const names = { ticket, line }
        if (stays) return watch(server, names, output)
        return (await show(server, names, output)).ready ? 0 : 1
      }),
  )
}
