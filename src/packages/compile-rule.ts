// From the manifest's `code` to its compiled matching rule; the one place where rule kinds are told apart.
import { type CodeIndex, compileGs1, compileTemplate, type Rule, tableRule } from '../codes/index.ts'
import type { Manifest } from './manifest.ts'

export interface RuleParts {
  readonly job: string
  readonly designs: Iterable<string>
  /** Of a table rule: the open indexes of the job's tables, newest package first. The rule doesn't close them. */
  readonly indexes?: readonly CodeIndex[]
}

/** Compiles the rule of a job. Problems: those of the rule's own compiler. */
export function compileRule(code: Manifest['code'], { job, designs, indexes = [] }: RuleParts): Rule {
  switch (code.rule) {
    case 'template':
      return compileTemplate(code.template, { job, symbologies: code.symbologies })
    case 'gs1':
      return compileGs1({ ...code, designs })
    case 'table':
      return newestOf(code.symbologies, indexes)
  }
}

// Each delivery may bring a table of its own: a code is looked for in the newest one first.
function newestOf(symbologies: Rule['symbologies'], indexes: readonly CodeIndex[]): Rule {
  const rules = indexes.map((index) => tableRule({ symbologies, index }))
  const [newest] = rules
  return {
    symbologies,
    carries: newest?.carries ?? { print: false, serial: false },
    match(text, identifier, cell) {
      for (const rule of rules) {
        const found = rule.match(text, identifier, cell)
        if (found) return found
      }
      return undefined
    },
    canName(named) {
      const reasons = rules.map((rule) => rule.canName(named))
      return reasons.includes(undefined) ? undefined : (reasons[0] ?? 'the job has no code table')
    },
  }
}
