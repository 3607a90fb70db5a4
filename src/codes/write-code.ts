// Writing codes: the text by which a template or GS1 rule names an identity, the inverse of its matching. For simulated rolls.
import { findAi } from './gs1/ai-dictionary.ts'
import type { CodeIdentity } from './rule.ts'
import { type Field, parseTemplate } from './template-syntax.ts'

function fieldText({ name, width, digits }: Field, named: CodeIdentity): string {
  const value = name === '_' ? '' : (named[name] ?? '')
  return value.padStart(width ?? 1, digits || name === 'serial' ? '0' : '-')
}

/**
 * Writes texts of a template; whether one fits is for the rule to say. A serial is filled up with zeros to its field's width. Problems:
 * those of reading the template.
 */
export function templateWriter(template: string, job: string): (named: CodeIdentity) => string {
  const pieces = parseTemplate(template, job)
  return (named) => pieces.map((piece) => (typeof piece === 'string' ? piece : fieldText(piece, named))).join('')
}

/** The separator FNC1 as scanners send it. */
const separator = '\u001d'

/** An element string of the rule's AIs; whether it holds is for the rule to say. A GTIN is filled up with zeros to 14 digits. */
export function writeGs1(
  ais: { readonly design: string; readonly print?: string | undefined; readonly serial?: string | undefined },
  named: CodeIdentity,
): string {
  const elements = (['design', 'print', 'serial'] as const).flatMap((role) => {
    const ai = ais[role]
    const value = named[role]
    return ai === undefined || value === undefined ? [] : [{ ai, value, entry: findAi(ai) }]
  })
  return elements
    .map(({ ai, value, entry }, i) => {
      const filled = entry?.predefined ? value.padStart(entry.lengthMax, '0') : value
      return `${ai}${filled}${entry?.predefined || i === elements.length - 1 ? '' : separator}`
    })
    .join('')
}
