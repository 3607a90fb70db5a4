// What can be wrong with a ledger. The verifier trusts nothing that it reads; the first fault ends it.

/** Append only, like the codes of problems. */
const faultCodes = [
  'not-canonical', // the line is not the canonical JSON (RFC 8785) of strings, integers, lists and objects
  'shape', // keys or values are not those of an entry of its type
  'index', // the line has not the index of its place: entries are missing, doubled or out of order
  'epoch', // the epoch fell
  'leaf', // the bytes are not those that were hashed when the entry was stored
  'step', // the run cannot go from its state to this one
  'after-end', // something follows the end of the run
  'frame', // the frame number did not rise
  'reads', // no picture of this frame waits to be read
  'answer', // the frame was never recorded, or the label is answered twice
  'revocation', // what is revoked is no standing `lay`
  'laid', // the label was never answered, or is reported twice
  'head', // the entries have another root than a commit left
  'uncovered', // entries stand behind the last commit
  'cut', // there are fewer entries than were committed, witnessed or answered
  'rewritten', // the entries have another root than was witnessed or answered
  'answer-changed', // the entry is not the answer that was received
] as const
export type FaultCode = (typeof faultCodes)[number]

/** Faults that an entry has only by what stands before it: the wrong one may be either. */
export const contradictions: ReadonlySet<FaultCode> = new Set([
  'epoch',
  'step',
  'after-end',
  'frame',
  'reads',
  'answer',
  'revocation',
  'laid',
])

/** What is wrong may be a name of a million characters; a person needs its beginning. */
const whyMax = 500

/** A fault of the entry that is being looked at; the verifier adds where it stands. */
export class Fault extends Error {
  readonly code: FaultCode

  constructor(code: FaultCode, why: string) {
    super(why.length > whyMax ? `${why.slice(0, whyMax)}…` : why)
    this.name = 'Fault'
    this.code = code
  }
}

/** A fault that lies somewhere among several entries: `from` (inclusive) to `to` (exclusive). */
export class RangeFault extends Fault {
  readonly from: number
  readonly to: number

  constructor(code: FaultCode, why: string, range: { from: number; to: number }) {
    super(code, why)
    this.name = 'RangeFault'
    this.from = range.from
    this.to = range.to
  }
}
