// Things of a list that are named alike.
import type { Finding } from '../kernel/problem.ts'

/** One finding for every element whose name an earlier one has; elements without a name are passed over. */
export function duplicatesIn<T>(
  list: readonly T[],
  pointer: string,
  nameOf: (element: T) => string | undefined,
): Finding[] {
  const first = new Map<string, number>()
  return list.flatMap((element, i) => {
    const name = nameOf(element)
    if (name === undefined) return []
    const earlier = first.get(name)
    if (earlier === undefined) {
      first.set(name, i)
      return []
    }
    return [
      {
        code: 'manifest-duplicate' as const,
        file: 'job.json',
        pointer: `${pointer}/${i}`,
        message: `${name} stands twice, first at ${pointer}/${earlier}`,
      },
    ]
  })
}
