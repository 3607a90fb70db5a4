// Commands around codes: what a text is and names, for a person.
import { explainGs1, readGs1, rollFrom8001 } from '../codes/index.ts'
import { Problem } from '../kernel/problem.ts'
import type { AddCommand } from './command.ts'
import { table } from './output.ts'

interface Match {
  readonly job: string
  readonly design: string
  readonly print?: string
  readonly serial?: string
  readonly known: boolean
}

type Explained = ReturnType<typeof explainGs1>

function gs1Text(found: Explained): string {
  const rows = found.elements.map(({ position, ai, title, value, meaning }) => [
    position,
    `(${ai})`,
    title,
    value,
    meaning ?? '',
  ])
  const elements = rows.length > 0 ? [table(['at', 'AI', 'title', 'value', 'means'], rows)] : []
  const faults = found.faults.flatMap(({ ai, rule, message, pointer }) => [
    '',
    found.shown,
    `${pointer} ${ai ? `(${ai}) ` : ''}${rule}: ${message}`,
  ])
  const verdict = found.ok ? `GS1 ${found.syntax}: holds` : `GS1 ${found.syntax ?? 'syntax'}: does not hold`
  return [verdict, ...elements, ...faults].join('\n')
}

function matchText(matches: readonly Match[]): string {
  if (matches.length === 0) return 'No published job takes this text as its code.'
  const rows = matches.map(({ job, design, print, serial, known }) => [
    job,
    design,
    known ? '' : 'no such design',
    print ?? '',
    serial ?? '',
  ])
  return table(['job', 'design', '', 'print version', 'serial'], rows)
}

/** What a roll label with AI 8001 says of its roll, as a ticket's `material`. Problem `bad-request` for any other text. */
export function materialFrom(text: string): object {
  // A roll label may stand apart from the code that its 8001 asks for.
  const reading = readGs1(text, { human: true, pairs: 'ignored' })
  const roll = reading.ok ? rollFrom8001(reading.elements) : undefined
  if (!roll) {
    const why = reading.ok ? 'it has no AI 8001' : reading.fault.message
    throw new Problem('bad-request', `the text describes no roll: ${why}`, {
      measured: text,
      limit: 'an element string with AI 8001',
    })
  }
  const { winding, ...sizes } = roll
  return { ...sizes, ...(winding === 'undefined' ? {} : { face: winding }) }
}

/** Adds `codes`. */
export function codeCommands(add: AddCommand): void {
  add<{ symbology?: string }>(
    'codes',
    'Explain a code: `codes parse TEXT` says what it is as GS1, and which published jobs take it as theirs',
    (command) =>
      command
        .argument('<what>', 'parse')
        .argument('<text>', 'as read; ^ stands for FNC1')
        .option('--symbology <identifier>', 'ISO/IEC 15424 identifier, such as ]d2'),
    async ({ withServer, output }, { symbology }, [what = '', text = '']) => {
      if (what !== 'parse') throw new Problem('usage', `codes takes parse, not "${what}"`)
      const gs1 = explainGs1(text, { identifier: symbology, nowMs: Date.now() })
      const query = new URLSearchParams({ text, ...(symbology ? { symbology } : {}) })
      const { matches } = await withServer((server) => server.get<{ matches: Match[] }>(`/codes/explain?${query}`))
      // Any digit may begin an element string; what got no further is not worth a word where a job knows the text.
      const isGs1 = gs1.syntax !== undefined && (gs1.elements.length > 0 || matches.length === 0)
      const shown = [
        isGs1 ? gs1Text(gs1) : 'Not a GS1 text: no element string and no Digital Link.',
        '',
        matchText(matches),
      ]
      output.result({ gs1, matches }, shown.join('\n'))
      return gs1.ok || matches.length > 0 ? 0 : 1
    },
  )
}
