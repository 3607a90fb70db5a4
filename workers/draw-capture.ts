// Worker entry: draws one capture of the demo's roll into a folder and returns its path.
import { writeCapture } from '../demo-jobs/draw-captures.ts'
import { frameAt } from '../demo-jobs/scenario.ts'

export interface DrawCaptureTask {
  readonly frame: number
  readonly folder: string
}

export default function drawCaptureTask({ frame, folder }: DrawCaptureTask): Promise<string> {
  return writeCapture(frameAt(frame), folder)
}
