// Whether a simulation ended as its scenario says.
import type { Outcome } from './outcome.ts'
import type { Expectation, Tally } from './scenario.ts'

const tallyText = (wanted: Tally): string =>
  typeof wanted === 'number' ? `${wanted}` : `${wanted.min ?? 0} to ${wanted.max ?? 'any'}`

const fits = (wanted: Tally, found: number): boolean =>
  typeof wanted === 'number'
    ? wanted === found
    : found >= (wanted.min ?? 0) && found <= (wanted.max ?? Number.POSITIVE_INFINITY)

const tallies = [
  'wrongLays',
  'doubleLays',
  'wrongCodes',
  'missedLays',
  'lostAnswers',
  'doubledAnswers',
  'lateAnswers',
] as const
const tables = ['decisions', 'flags', 'refusals', 'laid'] as const

/** What is otherwise than the scenario says, each in words; none where all is as it says. */
export function unmet(expected: Expectation, outcome: Outcome): readonly string[] {
  const told: string[] = []
  const hold = (name: string, wanted: Tally | undefined, found: number): void => {
    if (wanted !== undefined && !fits(wanted, found)) told.push(`${name}: ${found}, not ${tallyText(wanted)}`)
  }
  for (const name of tallies) hold(name, expected[name], outcome[name])
  for (const table of tables) {
    const found = outcome[table] as Readonly<Record<string, number>>
    for (const [name, wanted] of Object.entries(expected[table] ?? {}))
      hold(`${table} ${name}`, wanted, found[name] ?? 0)
  }
  hold('shiftFrames', expected.shiftFrames, outcome.shift?.frames ?? 0)
  hold('exitCode', expected.exitCode, outcome.exitCode)
  const stops = outcome.stops.join(', ')
  if (expected.stops && expected.stops.join(', ') !== stops)
    told.push(`stops: ${stops || 'none'}, not ${expected.stops.join(', ') || 'none'}`)
  return told
}
