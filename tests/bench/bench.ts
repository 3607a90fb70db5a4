// What a bench is given, and the folders of the checkout that benches start programs from.
import path from 'node:path'
import { demoFolder } from '../../demo-jobs/folders.ts'
import type { LongRun } from './long-run.ts'
import type { Row } from './rows.ts'

export interface BenchTools {
  /** A smoke run: the same steps, few rounds, small sizes. */
  readonly quick: boolean
  /** A new folder of this name; all of them are removed at the end. */
  readonly folder: (name: string) => Promise<string>
  /** A line of progress for who waits. */
  readonly tell: (text: string) => void
  /** A sealed-off run of so many frames in a data folder of its own, built once a size. */
  readonly longRun: (frames: number) => Promise<LongRun>
}

export type Bench = (tools: BenchTools) => Promise<readonly Row[]>

/** The checkout: `package.json` lies here. */
export const root = path.dirname(demoFolder)

/** A compiled module of this folder, to be started as a program of its own. */
export const benchProgram = (name: string): string => path.join(import.meta.dirname, `${name}.js`)
