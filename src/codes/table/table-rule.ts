// The table rule: a text is a code of the job if the table has it, and names what the table says.
import type { SymbologyName } from '../../kernel/terms.ts'
import type { Rule } from '../rule.ts'
import type { CodeIndex } from './code-index.ts'

export interface TableRuleOptions {
  readonly symbologies: readonly SymbologyName[]
  readonly index: CodeIndex
  /** What of the table counts; default: the columns that it has. */
  readonly carries?: Rule['carries']
}

/** The rule over an open index, which it doesn't close. Where the table has cells, a code matches with its cell only. */
export function tableRule({ symbologies, index, carries = index.carries }: TableRuleOptions): Rule {
  const prints = new Map(index.designs.map(({ design, prints }) => [design, new Set(prints.map(({ print }) => print))]))
  const { print: withPrint, serial: withSerial } = carries
  return {
    symbologies,
    carries: { print: withPrint, serial: withSerial },
    match(text, _identifier, cell) {
      if (index.carries.cell && cell === undefined) return undefined
      const entry = index.find(text, cell)
      if (entry === undefined) return undefined
      const { design, print, serial } = entry
      return {
        design,
        ...(withPrint && print !== undefined ? { print } : {}),
        ...(withSerial && serial !== undefined ? { serial } : {}),
      }
    },
    canName({ design, print }) {
      const known = prints.get(design)
      if (known === undefined) return `the table has no code of design “${design}”`
      if (!withPrint || print === undefined || known.size === 0 || known.has(print)) return undefined
      return `the table has no code of design “${design}” with print version “${print}”`
    },
  }
}
