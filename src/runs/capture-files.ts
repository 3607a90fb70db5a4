// Captures as files: their names, whether they are complete, and storing one whole.
import { open, rename, rm, stat } from 'node:fs/promises'
import { Problem } from '../kernel/problem.ts'

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

/** Sizes seen in the last look. */
export type SeenSizes = Map<string, number>

/** Whether a picture stopped growing between two looks, or shows its own end. */
export async function isComplete(file: string, seen: SeenSizes): Promise<boolean> {
  const { size } = await stat(file)
  const before = seen.get(file)
  seen.set(file, size)
  return size > 0 && (before === size || (await showsItsEnd(file, size)))
}

// JPEG ends with EOI (ITU-T T.81 B.1.1.3), PNG with IEND (RFC 2083 §4.1.4); a TIFF shows nothing and must stop growing.
async function showsItsEnd(file: string, size: number): Promise<boolean> {
  const handle = await open(file)
  try {
    const tail = new Uint8Array(Math.min(12, size))
    await handle.read(tail, 0, tail.length, size - tail.length)
    const hex = Buffer.from(tail).toString('hex')
    return hex.endsWith('ffd9') || hex.endsWith('49454e44ae426082')
  } finally {
    await handle.close()
  }
}

/** The file appears whole under its name, on stable storage, or not at all. */
export async function storeWhole(file: string, bytes: Uint8Array): Promise<void> {
  const temporary = `${file}.part`
  try {
    const handle = await open(temporary, 'w')
    try {
      await handle.writeFile(bytes)
      await handle.sync()
    } finally {
      await handle.close()
    }
    await rename(temporary, file)
  } catch (error) {
    await rm(temporary, { force: true })
    if ((error as NodeJS.ErrnoException).code === 'ENOSPC') throw new Problem('data-full', 'the disk is full', { file })
    throw error
  }
}
