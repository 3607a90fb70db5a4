// Roots that the tree must have had at certain sizes: those that commits left, and those that were seen outside. Outside ones
// weigh more: who rewrites a whole ledger rewrites the heads in it too.
import { type FaultCode, RangeFault } from './fault.ts'

/** A tree at one size. `root` in hex; `seen` says by whom, for a person. */
export interface Anchor {
  readonly treeSize: number
  readonly root: string
  readonly seen: string
}

export interface Anchors {
  /** Whether there is anything to agree with. */
  readonly isEmpty: boolean
  /** Up to here the entries are those that were committed or seen: the largest size at which all roots agreed. */
  readonly agreedTo: number
  /** Whether no root still to come can tell more about the entries up to this one. */
  isSettled(index: number): boolean
  /** Checks whatever is anchored at this size; `root` is asked for only if there is something. */
  check(treeSize: number, root: () => string): void
  /** Checks that nothing is anchored beyond the end, and that the last commit reaches up to it. */
  end(treeSize: number): void
}

export function createAnchors(given: { heads: readonly Anchor[] | undefined; outside: readonly Anchor[] }): Anchors {
  const heads = createQueue(given.heads ?? [])
  const outside = createQueue(given.outside)
  return {
    isEmpty: heads.last === undefined && outside.last === undefined,
    get agreedTo() {
      return Math.max(heads.agreedTo, outside.agreedTo)
    },
    isSettled: (index) => [heads, outside].every(({ next, agreedTo }) => next === undefined || agreedTo > index),
    check(treeSize, root) {
      const wrongHead = heads.check(treeSize, root)
      if (wrongHead) throw disagreement('head', wrongHead, Math.max(heads.agreedTo, outside.agreedTo))
      const wrongOutside = outside.check(treeSize, root)
      // Against somebody outside, only what others outside confirmed counts as agreed.
      if (wrongOutside) throw disagreement('rewritten', wrongOutside, outside.agreedTo)
    },
    end(treeSize) {
      const missed = [outside.last, heads.last].find((last) => last && last.treeSize > treeSize)
      if (missed !== undefined) throw cut(missed, treeSize)
      if (given.heads !== undefined && heads.agreedTo < treeSize) {
        const why = `entries ${heads.agreedTo} to ${treeSize - 1} stand behind the last commit`
        throw new RangeFault('uncovered', why, { from: heads.agreedTo, to: treeSize })
      }
    },
  }
}

interface Queue {
  readonly agreedTo: number
  readonly next: Anchor | undefined
  readonly last: Anchor | undefined
  /** The first anchor of this size that has another root. */
  check(treeSize: number, root: () => string): Anchor | undefined
}

function createQueue(given: readonly Anchor[]): Queue {
  const anchors = [...given].sort((a, b) => a.treeSize - b.treeSize)
  let at = 0
  let agreedTo = 0
  return {
    get agreedTo() {
      return agreedTo
    },
    get next() {
      return anchors[at]
    },
    last: anchors.at(-1),
    check(treeSize, root) {
      const first = at
      for (let anchor = anchors[at]; anchor !== undefined && anchor.treeSize <= treeSize; anchor = anchors[at]) {
        if (anchor.root !== root()) return anchor
        at += 1
      }
      // Only now: of two that contradict each other at one size, neither is believed.
      if (at > first) agreedTo = treeSize
      return undefined
    },
  }
}

function disagreement(code: FaultCode, anchor: Anchor, agreedTo: number): RangeFault {
  const to = anchor.treeSize
  const among = to === 0 ? 'the empty ledger' : `at least one of entries ${agreedTo} to ${to - 1}`
  return new RangeFault(code, `${among} is not what ${anchor.seen} had at size ${to}`, { from: agreedTo, to })
}

function cut(anchor: Anchor, treeSize: number): RangeFault {
  const why = `the ledger ends after ${treeSize} entries, but ${anchor.seen} had ${anchor.treeSize}`
  return new RangeFault('cut', why, { from: treeSize, to: anchor.treeSize })
}
