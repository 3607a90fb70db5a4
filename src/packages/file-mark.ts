// Telling whether a file is still the same without reading it.
import type { BigIntStats } from 'node:fs'

/** Size, time of change and place on disk: whatever writes to a file or replaces it changes this; moving it does not. */
export const fileMark = (stats: BigIntStats): string => `${stats.size}:${stats.mtimeNs}:${stats.dev}:${stats.ino}`
