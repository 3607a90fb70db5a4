// What a check on one component of a value says.

export interface Lint {
  /** Offset in the component. */
  readonly at: number
  readonly message: string
  readonly measured: string | number
  readonly limit: string | number
}

/** Sees one component whose length and characters are right, and says what else is wrong with it. */
export type Linter = (component: string) => Lint | undefined

export const digitAt = (text: string, index: number): number => text.charCodeAt(index) - 0x30
