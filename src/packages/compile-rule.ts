// From the manifest's `code` to its compiled matching rule; the one place where rule kinds are told apart.
import { compileTemplate, type Rule } from '../codes/index.ts'
import { Problem } from '../kernel/problem.ts'
import type { Manifest } from './manifest.ts'

/** Compiles the rule of a job. Problems: those of the rule's own compiler; `rule-not-supported` for kinds that are not built. */
export function compileRule(code: Manifest['code'], job: string): Rule {
  if (code.rule === 'template') return compileTemplate(code.template, { job, symbologies: code.symbologies })
  throw new Problem('rule-not-supported', `the ${code.rule} rule is not built yet; use a template`, {
    pointer: '/code/rule',
  })
}
