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

/** Ready-made packages and papers of the demo. */
export const demoFiles = {
  line: join(demoFolder, 'line.json'),
  ticket: join(spring, 'ticket.json'),
  /** Version 1 of all designs but one. */
  firstPackage: join(spring, 'package-1'),
  /** Version 2 of seven designs. */
  secondPackage: join(spring, 'package-2'),
  /** One design that is published and never released. */
  unreleasedPackage: join(spring, 'package-3'),
  /** A delivery with several faults at once; it must be refused. */
  spoiledPackage: join(spring, 'package-4-spoiled'),
  /** Another customer's job; labels of it are on the roll. */
  otherJobPackage: join(demoFolder, 'pimmerby-teas', 'package-1'),
} as const
