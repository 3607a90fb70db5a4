// Where the demo's files lie, whether this code runs from its sources or from the build.
import { existsSync } from 'node:fs'
import { dirname, join } from 'node:path'

function packageRoot(): string {
  let folder = import.meta.dirname
  while (!existsSync(join(folder, 'package.json'))) {
    const above = dirname(folder)
    if (above === folder) throw new Error('invariant broken: the demo lies within its package')
    folder = above
  }
  return folder
}

/** The folder `demo-jobs` that holds packages, line and ticket. */
export const demoFolder: string = join(packageRoot(), 'demo-jobs')

const spring = join(demoFolder, 'quillgarth-preserves')

/** A line, and the first job's ticket and first package: version 1 of all its designs but one. */
export const demoFiles = {
  line: join(demoFolder, 'line.json'),
  ticket: join(spring, 'ticket.json'),
  firstPackage: join(spring, 'package-1'),
} as const
