// Worker entry: draws one capture of a demo's roll into a folder and returns its path.
import { writeCapture } from '../demo-jobs/draw-captures.ts'
import { frameAt } from '../demo-jobs/scenario.ts'
import { scenarioNamed } from '../demo-jobs/scenarios.ts'

export interface DrawCaptureTask {
  /** Name of the roll's scenario. */
  readonly scenario: string
  readonly frame: number
  readonly folder: string
}

export default function drawCaptureTask(task: DrawCaptureTask): Promise<string> {
  const scenario = scenarioNamed(task.scenario)
  return writeCapture(scenario, frameAt(scenario, task.frame), task.folder)
}
