// Finding a constant shift: codes that belong to the label a fixed number of frames before or behind, all along a stretch of the roll.
// Every other check sees nothing of it.

export interface Shift {
  /** How many frames before the label its code belongs to; negative: behind. */
  readonly frames: number
  readonly firstFrame: number
  readonly lastFrame: number
  readonly labels: number
}

interface Candidate {
  firstFrame: number
  lastFrame: number
  labels: number
  frameCount: number
  /** Labels with a code that had been seen when the stretch began and when it was last seen. */
  readonly seenBefore: number
  seenLast: number
}

const framesMax = 8
/** A stretch counts from so many labels on, over so many frames, and when nearly all labels on it say so. */
const labelsMin = 8
const frameCountMin = 3
const shareMin = 0.9

export interface ShiftFinder {
  /** Takes a label's code; `textAt` gives the code that stands so many frames further on. */
  take(label: {
    readonly frame: number
    readonly text: string
    readonly textAt: (frames: number) => string | undefined
  }): void
  found(): Shift | undefined
}

export function openShiftFinder(): ShiftFinder {
  const candidates = new Map<number, Candidate>()
  let seen = 0
  return {
    take({ frame, text, textAt }) {
      seen += 1
      if (textAt(0) === text) return
      for (let frames = -framesMax; frames <= framesMax; frames++) {
        if (frames === 0 || textAt(-frames) !== text) continue
        const known = candidates.get(frames)
        const one = known ?? {
          firstFrame: frame,
          lastFrame: -1,
          labels: 0,
          frameCount: 0,
          seenBefore: seen - 1,
          seenLast: seen,
        }
        if (one.lastFrame !== frame) one.frameCount += 1
        one.lastFrame = frame
        one.labels += 1
        one.seenLast = seen
        candidates.set(frames, one)
        return
      }
    },
    found() {
      const all = [...candidates].flatMap(([frames, one]): Shift[] => {
        const { firstFrame, lastFrame, labels } = one
        const isLong = labels >= labelsMin && one.frameCount >= frameCountMin
        return isLong && labels >= shareMin * (one.seenLast - one.seenBefore)
          ? [{ frames, firstFrame, lastFrame, labels }]
          : []
      })
      return all.toSorted((a, b) => b.labels - a.labels)[0]
    },
  }
}
