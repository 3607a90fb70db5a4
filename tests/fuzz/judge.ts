// What an answer to hostile input must look like: a result, or a refusal with a code of the table that says what and where in few words.
import { type Finding, Problem, type ProblemPlace, problemTable, toProblemDetails } from '../../src/kernel/problem.ts'

/** Something that must hold does not. */
export class Broken extends Error {}

export function holds(condition: unknown, what: string): asserts condition {
  if (!condition) throw new Broken(what)
}

/** Of a message or a measured value: beyond that it is no message, but the input thrown back. */
const textMax = 4_096
/** Of a whole refusal as it travels. */
const detailsMax = 8 * 1024 * 1024

function judgePlace(place: ProblemPlace, of: string): void {
  for (const [key, value] of Object.entries(place)) {
    if (typeof value === 'string') holds(value.length <= textMax, `${of}: ${key} has ${value.length} characters`)
  }
  if (place.row !== undefined) holds(Number.isSafeInteger(place.row) && place.row >= 1, `${of}: row ${place.row}`)
}

/** Findings have known codes, say something, and say it in few words. */
export function judgeFindings(findings: readonly Finding[]): void {
  for (const finding of findings) {
    holds(Object.hasOwn(problemTable, finding.code), `a finding has the unknown code ${finding.code}`)
    holds(finding.code !== 'internal', `a finding blames Rollcall: ${finding.message}`)
    holds(finding.message !== '', `the finding ${finding.code} says nothing`)
    holds(!innards.test(finding.message), `the finding ${finding.code} speaks of innards: ${finding.message}`)
    judgePlace(finding, `finding ${finding.code}`)
    holds(finding.message.length <= textMax, `the finding ${finding.code} has ${finding.message.length} characters`)
  }
}

/** What our own faults say; wrapped in a coded problem they would pass for the input's. */
const innards =
  /invariant broken|is not a function|Cannot read propert|is not iterable|Maximum call stack|is not defined/

/** The code of a refusal; rethrows whatever is no refusal. */
export function judgeRefusal(error: unknown): string {
  if (!(error instanceof Problem)) throw error
  holds(Object.hasOwn(problemTable, error.code), `a problem has the unknown code ${error.code}`)
  holds(error.code !== 'internal', `a problem blames Rollcall: ${error.message}`)
  holds(error.message !== '', `the problem ${error.code} says nothing`)
  holds(error.message.length <= textMax, `the problem ${error.code} has ${error.message.length} characters`)
  holds(!innards.test(error.message), `the problem ${error.code} speaks of innards: ${error.message}`)
  judgePlace(error.place, `problem ${error.code}`)
  judgeFindings(error.findings)
  const travels = JSON.stringify(toProblemDetails(error))
  holds(travels.length <= detailsMax, `the problem ${error.code} travels as ${travels.length} characters`)
  return error.code
}

/** `taken`, or what the work names; the code of the refusal otherwise. */
export async function answerOf(work: () => unknown): Promise<string> {
  try {
    const result = await work()
    return typeof result === 'string' ? result : 'taken'
  } catch (error) {
    return judgeRefusal(error)
  }
}

/** The most telling code of several findings: the first. */
export function codeOf(findings: readonly Finding[]): string {
  judgeFindings(findings)
  return findings[0]?.code ?? 'taken'
}
