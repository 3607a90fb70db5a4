// Messages between the process that makes up cases and the one that executes them.

export interface ExecutorOrder {
  readonly id: number
  readonly one: unknown
}

export type ExecutorMessage =
  | { readonly kind: 'ready'; readonly peakMiB: number; readonly openFiles: number }
  | {
      readonly kind: 'answered'
      readonly id: number
      readonly answer: string
      readonly cpuMs: number
      readonly peakMiB: number
      readonly openFiles: number
    }
  | { readonly kind: 'failed'; readonly id: number; readonly error: string }
