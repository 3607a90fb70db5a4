// Codes for simulated labels, made by a job's own rule and held against it.
import { templateWriter, writeGs1 } from '../../codes/index.ts'
import { Problem } from '../../kernel/problem.ts'
import { type SymbologyName, symbologyLetters } from '../../kernel/terms.ts'
import { compileRule } from '../../packages/index.ts'
import type { JobView } from './published.ts'

export interface CodeName {
  readonly design: string
  readonly print?: string
  readonly serial?: string
}

export interface PrintedCode {
  readonly text: string
  /** ISO/IEC 15424 identifier that a reader gives. */
  readonly symbology: string
}

export interface LabelCodes {
  readonly carries: { readonly print: boolean; readonly serial: boolean }
  /** Problem `scenario-truth` where no code of the rule names it. */
  write(named: CodeName): PrintedCode
  /** What a text of the press names; undefined where it is none of this job. */
  match(text: string, cell: number): (CodeName & { readonly symbology: string }) | undefined
}

const gs1Identifiers: Partial<Record<SymbologyName, string>> = {
  qr: ']Q3',
  'data-matrix': ']d2',
  'code-128': ']C1',
  'gs1-databar': ']e0',
}
const plainModifier: Partial<Record<SymbologyName, string>> = { qr: '1', 'micro-qr': '1', 'data-matrix': '1' }

const isUri = (text: string): boolean => /^https?:/i.test(text)

function identifierFor({ code }: JobView, text: string): string {
  const [symbology = 'qr'] = code.symbologies
  const gs1 = code.rule === 'gs1' && !isUri(text) ? gs1Identifiers[symbology] : undefined
  return gs1 ?? `]${symbologyLetters[symbology]}${plainModifier[symbology] ?? '0'}`
}

function writerOf({ code, job }: JobView): (named: CodeName) => string {
  if (code.rule === 'template') return templateWriter(code.template, job)
  if (code.rule === 'gs1') return (named) => writeGs1(code, named)
  return () => {
    throw new Problem('scenario-truth', `the codes of job ${job} stand in a table, which no code can be made from`)
  }
}

/** Opens the codes of a published job. */
export function openLabelCodes(job: JobView): LabelCodes {
  const rule = compileRule(job.code, { job: job.job, designs: job.designs.map(({ design }) => design) })
  const writeText = writerOf(job)
  const designs = new Set(job.designs.map(({ design }) => design))
  return {
    carries: rule.carries,
    write(named) {
      const text = writeText(named)
      const symbology = identifierFor(job, text)
      const read = rule.match(text, symbology)
      if (read?.design !== named.design || (rule.carries.print && read.print !== named.print)) {
        const what = `no code of job ${job.job} names design ${named.design}, print version ${named.print ?? '–'}`
        throw new Problem('scenario-truth', `${what}, serial ${named.serial ?? '–'}`, { measured: text })
      }
      return { text, symbology }
    },
    match(text, cell) {
      const symbology = identifierFor(job, text)
      const found = rule.match(text, symbology, cell)
      return found && designs.has(found.design) ? { ...found, symbology } : undefined
    },
  }
}
