// Captures as files: their names, whether they are complete, and storing one whole.
import { randomBytes } from 'node:crypto'
import { open, rename, rm, stat } from 'node:fs/promises'
import path from 'node:path'
import { Problem } from '../kernel/problem.ts'
import { syncFolder, whereDiskFills } from '../storage/index.ts'

export interface CaptureName {
  readonly frame: number
  readonly positionUm: number
}

const namePattern = /^(\d{1,12})_(-?\d{1,15})\.(png|jpg|jpeg|tif|tiff)$/i

/** Frame and position of a capture's file name; undefined for other files. */
export function captureNameOf(name: string): CaptureName | undefined {
  const parts = namePattern.exec(name)
  return parts ? { frame: Number(parts[1]), positionUm: Number(parts[2]) } : undefined
}

/** Frame and position (µm) of a capture's file name. Problem `capture-name`. */
export function parseCaptureName(name: string): CaptureName {
  const parsed = captureNameOf(name)
  if (parsed) return parsed
  throw new Problem('capture-name', `${name} is not named <frame>_<position in µm>.png, .jpg or .tif`, { file: name })
}

export const captureFileName = ({ frame, positionUm }: CaptureName, extension: string): string =>
  `${String(frame).padStart(6, '0')}_${positionUm}.${extension}`

/** Whether a file that is named like no capture was meant as one. Hidden ones are still being copied, by some programs. */
export const isMisnamed = (name: string): boolean =>
  /^[^.].*\.(png|jpg|jpeg|tif|tiff)$/i.test(name) && captureNameOf(name) === undefined

/** What the last look saw of each file, and since when it is so. */
export type Looks = Map<string, { readonly mark: string; readonly sinceMs: number }>

/** How long a file must stay as it is before it counts as written to its end, ms. */
const settleMs = 1_000

/** Whether a file stayed as it is for a while. False for one that is gone. */
export async function isSettled(file: string, looks: Looks, nowMs: number): Promise<boolean> {
  const found = await stat(file).catch(() => undefined)
  if (!found) return false
  const mark = `${found.size} ${found.mtimeMs}`
  const before = looks.get(file)
  const sinceMs = before?.mark === mark ? before.sinceMs : nowMs
  looks.set(file, { mark, sinceMs })
  return nowMs - sinceMs >= settleMs
}

/** Whether a picture shows its own end, or stayed as it is for a while. Looks may follow one another closely. */
export async function isComplete(file: string, looks: Looks, nowMs: number): Promise<boolean> {
  if (await isSettled(file, looks, nowMs)) return true
  return showsItsEnd(file).catch(() => false)
}

// JPEG ends with EOI (ITU-T T.81 B.1.1.3), PNG with IEND (RFC 2083 §4.1.4); a TIFF shows nothing and must stop growing.
async function showsItsEnd(file: string): Promise<boolean> {
  const handle = await open(file)
  try {
    const { size } = await handle.stat()
    const tail = new Uint8Array(Math.min(12, size))
    await handle.read(tail, 0, tail.length, size - tail.length)
    const hex = Buffer.from(tail).toString('hex')
    return hex.endsWith('ffd9') || hex.endsWith('49454e44ae426082')
  } finally {
    await handle.close()
  }
}

const postingPattern = /^\..*\.posting$/

/** Whether a file is one that `storeWhole` was writing when the process died. */
export const isUnfinished = (name: string): boolean => postingPattern.test(name)

/** The file appears whole under its name, on stable storage, or not at all. Problem `data-full`. */
export async function storeWhole(file: string, bytes: Uint8Array): Promise<void> {
  const folder = path.dirname(file)
  const temporary = path.join(folder, `.${path.basename(file)}.${randomBytes(6).toString('hex')}.posting`)
  try {
    await whereDiskFills(async () => {
      const handle = await open(temporary, 'wx')
      try {
        await handle.writeFile(bytes)
        await handle.sync()
      } finally {
        await handle.close()
      }
      await rename(temporary, file)
      await syncFolder(folder)
    })
  } catch (error) {
    await rm(temporary, { force: true })
    throw error
  }
}
