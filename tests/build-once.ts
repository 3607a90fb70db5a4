// Builds the whole tree once before the tests, so that tests of processes run what users run.
import { execFileSync } from 'node:child_process'
import path from 'node:path'

export function setup(): void {
  const root = path.resolve(import.meta.dirname, '..')
  execFileSync('npm', ['run', 'build', '--silent'], { cwd: root, stdio: 'inherit' })
}
