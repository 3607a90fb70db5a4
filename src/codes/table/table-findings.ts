// What is wrong with a code table, all of it at once: the first of each kind are listed by row, the rest counted.
import { limits } from '../../kernel/limits.ts'
import type { Finding, ProblemCode } from '../../kernel/problem.ts'

export interface TableFindings {
  /** Counts one, and keeps what `make` returns if it is among the first of its kind by row. Rows may come in any order. */
  add(code: ProblemCode, row: number, make: () => FindingText): void
  /** Counts more that are not to be listed. */
  addUnlisted(code: ProblemCode, count: number): void
  /** How many there are, of one kind or of all. */
  count(code?: ProblemCode): number
  /** Kind by kind, each in order of rows; where some are not listed, a last one of the kind counts them. */
  list(): readonly Finding[]
}

export type FindingText = Omit<Finding, 'code' | 'file' | 'row'>

const shownCharactersMax = 60

/** A value as findings quote it. */
export const excerpt = (text: string): string =>
  text.length <= shownCharactersMax ? text : `${text.slice(0, shownCharactersMax)}…`

interface Kind {
  count: number
  /** By row, rising. */
  readonly listed: Finding[]
}

export function openFindings(file: string, listedMax: number = limits.tableFindingsMax): TableFindings {
  const kinds = new Map<ProblemCode, Kind>()
  const kindOf = (code: ProblemCode): Kind => {
    const kind = kinds.get(code) ?? { count: 0, listed: [] }
    kinds.set(code, kind)
    return kind
  }
  return {
    add(code, row, make) {
      const { listed } = kindOf(code)
      kindOf(code).count++
      if (listed.length === listedMax && row >= (listed.at(-1)?.row ?? 0)) return
      const place = listed.findLastIndex((other) => (other.row ?? 0) <= row) + 1
      listed.splice(place, 0, { code, file, row, ...make() })
      if (listed.length > listedMax) listed.pop()
    },
    addUnlisted(code, count) {
      kindOf(code).count += count
    },
    count(code) {
      if (code !== undefined) return kinds.get(code)?.count ?? 0
      return [...kinds.values()].reduce((sum, kind) => sum + kind.count, 0)
    },
    list: () =>
      [...kinds].toSorted(byFirstRow).flatMap(([code, kind]) => [...kind.listed, ...restOf({ code, file, kind })]),
  }
}

type KindEntry = readonly [ProblemCode, Kind]

const byFirstRow = ([a, { listed: ofA }]: KindEntry, [b, { listed: ofB }]: KindEntry): number =>
  (ofA[0]?.row ?? 0) - (ofB[0]?.row ?? 0) || (a < b ? -1 : 1)

function restOf({ code, file, kind }: { code: ProblemCode; file: string; kind: Kind }): Finding[] {
  const rest = kind.count - kind.listed.length
  if (rest === 0) return []
  const message = `and ${rest.toLocaleString('en-GB')} more like these, ${kind.count.toLocaleString('en-GB')} in all`
  return [{ code, file, message, measured: kind.count }]
}
