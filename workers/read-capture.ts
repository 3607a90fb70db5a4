// The reading thread: one decoder, opened as the thread starts and kept from picture to picture.
import {
  type CaptureOutcome,
  type CaptureTask,
  openReader,
  type PictureOutcome,
  type PictureTask,
  readCapture,
  readPicture,
} from '../src/codes/index.ts'
import { systemClock } from '../src/kernel/clock.ts'

const tools = { reader: await openReader(), clock: systemClock }

/** Reads one picture: a frame's capture into reads, or a loose picture into codes. Problems as in `decodeGray`. */
export default async function readTask(task: CaptureTask | PictureTask): Promise<CaptureOutcome | PictureOutcome> {
  return task.kind === 'capture' ? await readCapture(task, tools) : await readPicture(task, tools)
}
