// Draws captures of a demo's roll. `npx tsx demo-jobs/draw-captures.ts <folder> [first] [last] [roll]` writes them into a folder.
import { mkdir, rename, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { ScenarioFrame } from './roll.ts'
import type { Scenario } from './scenario.ts'
import { preservesScenario, scenarioNamed } from './scenarios.ts'

/** `<frame, six digits>_<position in µm>.jpg`. */
export const captureName = ({ frame, positionUm }: ScenarioFrame): string =>
  `${String(frame).padStart(6, '0')}_${positionUm}.jpg`

/** Draws a frame's capture into a folder, whole or not at all, and returns its path. */
export async function writeCapture(scenario: Scenario, frame: ScenarioFrame, folder: string): Promise<string> {
  const path = join(folder, captureName(frame))
  const unfinished = join(folder, `.${captureName(frame)}.part`)
  await writeFile(unfinished, await scenario.draw(frame))
  await rename(unfinished, path)
  return path
}

if (import.meta.filename === process.argv[1]) {
  const [folder = 'captures', first = '0', last, name = preservesScenario.name] = process.argv.slice(2)
  const scenario = scenarioNamed(name)
  await mkdir(folder, { recursive: true })
  for (const frame of scenario.roll.slice(Number(first), Number(last ?? scenario.roll.length - 1) + 1)) {
    process.stdout.write(`${await writeCapture(scenario, frame, folder)}\n`)
  }
}
