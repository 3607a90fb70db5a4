// The gs1 rule: which AIs of a code name design, print version and serial, however the code is written.
import { Problem } from '../../kernel/problem.ts'
import type { SymbologyName } from '../../kernel/terms.ts'
import type { CodeIdentity, Rule } from '../rule.ts'
import { type AiEntry, findAi } from './ai-dictionary.ts'
import { messageFault, valueFault } from './check.ts'
import type { CutElement, Gs1Message } from './message.ts'
import { cutGs1 } from './read.ts'

export interface Gs1RuleOptions {
  readonly symbologies: readonly SymbologyName[]
  /** AIs as digits. */
  readonly design: string
  readonly print?: string | undefined
  readonly serial?: string | undefined
  /**
   * The names of the job's designs, where some are GTINs of 8, 12 or 13 digits: codes hold 14, and the identity then gives the name as
   * it is here.
   */
  readonly designs?: Iterable<string>
}

/** Neither holds application identifiers: EAN/UPC only a bare GTIN, Micro QR nothing of GS1. */
const without: readonly SymbologyName[] = ['ean-upc', 'micro-qr']

/**
 * Compiles the rule. A text matches where all of it holds as GS1 element string or Digital Link, rules between AIs included, and every
 * AI named here is in it; both ways of writing give one identity. Problem: `gs1-rule`.
 */
export function compileGs1(options: Gs1RuleOptions): Rule {
  const { symbologies, print, serial } = options
  const roles = rolesOf(options)
  const barred = symbologies.find((symbology) => without.includes(symbology))
  if (barred !== undefined)
    throw new Problem('gs1-rule', `${barred} codes hold no application identifiers`, { pointer: '/code/symbologies' })
  const names = new Map([...(options.designs ?? [])].map((name) => [toValue(roles.design, name), name]))
  return {
    symbologies,
    carries: { print: print !== undefined, serial: serial !== undefined },
    match(text, identifier) {
      const cut = cutGs1(text, { identifier })
      if (!cut.ok || messageFault(cut.message, 'enforced')) return undefined
      return identityOf(cut.message, roles, names)
    },
    canName: (named) => whyUnnameable(roles, names, named),
  }
}

interface Roles {
  readonly design: AiEntry
  readonly print?: AiEntry
  readonly serial?: AiEntry
}

function rolesOf({ design, print, serial }: Gs1RuleOptions): Roles {
  const roles = {
    design: toEntry(design, 'design'),
    ...(print === undefined ? {} : { print: toEntry(print, 'print') }),
    ...(serial === undefined ? {} : { serial: toEntry(serial, 'serial') }),
  }
  const used = Object.entries<AiEntry>(roles)
  for (const [role, { ai, bars }] of used) {
    const other = used.find(([name, entry]) => name !== role && (entry.ai === ai || bars.includes(entry.ai)))
    if (!other) continue
    const why = other[1].ai === ai ? 'is named twice' : `may not stand beside (${other[1].ai})`
    throw new Problem('gs1-rule', `AI (${ai}) ${why}, so no code could match`, { pointer: `/code/${role}` })
  }
  return roles
}

function toEntry(ai: string, role: string): AiEntry {
  const entry = findAi(ai)
  if (!entry)
    throw new Problem('gs1-rule', `there is no AI “${ai}”`, {
      pointer: `/code/${role}`,
      measured: ai,
      limit: 'an AI of GS1',
    })
  return entry
}

function valueIn(elements: readonly CutElement[], entry: AiEntry | undefined): string | undefined {
  return entry && elements.find((element) => element.entry === entry)?.value
}

function identityOf(
  { elements }: Gs1Message,
  roles: Roles,
  names: ReadonlyMap<string, string>,
): CodeIdentity | undefined {
  const design = valueIn(elements, roles.design)
  const print = valueIn(elements, roles.print)
  const serial = valueIn(elements, roles.serial)
  if (design === undefined || (roles.print && print === undefined) || (roles.serial && serial === undefined))
    return undefined
  return {
    design: names.get(design) ?? design,
    ...(print === undefined ? {} : { print }),
    ...(serial === undefined ? {} : { serial }),
  }
}

/** AIs whose value is a GTIN of 14 digits; shorter GTINs stand in it with zeros before them (General Specifications, 2.1). */
const gtinAis = ['01', '02', '03']

const toValue = ({ ai }: AiEntry, name: string): string =>
  gtinAis.includes(ai) && /^(?:[0-9]{8}|[0-9]{12,13})$/.test(name) ? name.padStart(14, '0') : name

function whyUnnameable(
  roles: Roles,
  names: ReadonlyMap<string, string>,
  named: { readonly design: string; readonly print?: string },
): string | undefined {
  const value = toValue(roles.design, named.design)
  const fault = valueFault(roles.design, value)
  if (fault)
    return `design “${named.design}” can't be a value of AI (${roles.design.ai}): ${fault.message} (${fault.rule})`
  const listed = names.get(value)
  if (listed !== undefined && listed !== named.design)
    return `design “${named.design}” is the same GTIN as design “${listed}”`
  if (listed === undefined && value !== named.design) return `design “${named.design}” stands in codes as ${value}`
  if (named.print === undefined) return undefined
  if (!roles.print) return undefined
  const wrong = valueFault(roles.print, named.print)
  return (
    wrong &&
    `print version “${named.print}” can't be a value of AI (${roles.print.ai}): ${wrong.message} (${wrong.rule})`
  )
}
