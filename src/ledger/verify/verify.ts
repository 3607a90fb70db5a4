// The verifier: recomputes a run's ledger from its lines alone and holds it against whatever is known of it from elsewhere. Apart
// from the tree arithmetic it shares no code with the writer, and it needs nothing but the language, so that a browser runs it too.
import { assert } from '../../kernel/assert.ts'
import { createFrontier, equalHashes, type Frontier, leafHash, type Sha256 } from '../merkle.ts'
import { type Anchor, type Anchors, createAnchors } from './anchors.ts'
import { contradictions, Fault, type FaultCode, RangeFault } from './fault.ts'
import { parseLine } from './parse-line.ts'
import { checkClaim, checkReceived, type ReceivedAnswer } from './received.ts'
import { createRules, type RunState } from './rules.ts'
import { shapeEntry } from './shapes.ts'
import { hexOf, readWitness, type VerifySignature, type WitnessedCheckpoint } from './witness.ts'

/** The bytes of an entry, with the leaf hash that is stored beside it where there is one. */
export type LedgerLine = Uint8Array | { readonly bytes: Uint8Array; readonly leaf: Uint8Array }

export interface VerifyInput {
  /** All entries in order, each without its newline. */
  readonly lines: AsyncIterable<LedgerLine> | Iterable<LedgerLine>
  readonly sha256: Sha256
  /** Where given, checkpoints must be about this run. */
  readonly runId?: string
  /** Every head that a commit left (roots in hex). Where given, they must cover all entries. */
  readonly heads?: readonly { readonly treeSize: number; readonly root: string }[]
  readonly witnesses?: readonly WitnessedCheckpoint[]
  /** Needed with witnesses. */
  readonly verifySignature?: VerifySignature
  readonly answers?: readonly ReceivedAnswer[]
}

/** How much was held against the entries; all zero means that only the ledger's own inner agreement was checked. */
export interface Compared {
  readonly heads: number
  readonly witnesses: number
  readonly answers: number
}

export interface FirstWrong {
  /** Ledger index of the first wrong entry. Where only roots disagree, of the first that may be: see `to`. */
  readonly index: number
  /** Where a single entry cannot be named, it is one of `index` (inclusive) to `to` (exclusive). */
  readonly to?: number
  readonly code: FaultCode
  readonly why: string
}

export type VerifyResult =
  | {
      readonly ok: true
      readonly entries: number
      /** Hex. */
      readonly root: string
      readonly state: RunState | undefined
      readonly sealed: boolean
      readonly compared: Compared
    }
  | {
      readonly ok: false
      readonly firstWrong: FirstWrong
      /** Entries read without a fault of their own before it. */
      readonly entries: number
      /** Up to this size a committed or outside root agreed. */
      readonly agreedTo: number
    }

/**
 * Verifies a ledger in one pass, stopping at the first fault. Memory: the frontier, the heads and answers given, and what the
 * rules between entries need: 8 bytes a frame, 8 to 16 bytes a label. Rejects with Problem `checkpoint-bad` when a checkpoint
 * cannot be read, is about another run, or is not signed by its key: that says nothing about the ledger.
 */
export async function verifyLedger(input: VerifyInput): Promise<VerifyResult> {
  const { heads, answers = [], witnesses = [] } = input
  const anchors = createAnchors({ heads: heads?.map(headAnchor), outside: await outsideAnchors(input) })
  const pass = new Pass(input.sha256, anchors, byIndex(answers))
  const firstWrong = await findWrong(pass, input)
  if (firstWrong !== undefined) return { ok: false, firstWrong, entries: pass.sound, agreedTo: anchors.agreedTo }
  const compared = { heads: heads?.length ?? 0, witnesses: witnesses.length, answers: answers.length }
  const { root, state } = pass
  return { ok: true, entries: pass.sound, root, state, sealed: state === 'sealed', compared }
}

async function findWrong(pass: Pass, { lines, answers = [] }: VerifyInput): Promise<FirstWrong | undefined> {
  try {
    for (const answer of answers) checkClaim(answer)
    pass.begin()
    for await (const line of lines) {
      pass.take(line)
      if (pass.isSettled) break
    }
    return pass.end()
  } catch (fault) {
    if (fault instanceof Fault) return pass.place(fault)
    throw fault
  }
}

type Answers = ReadonlyMap<number, readonly ReceivedAnswer[]>

/** One pass over a ledger. */
class Pass {
  readonly #sha256: Sha256
  readonly #anchors: Anchors
  readonly #answers: Answers
  readonly #frontier: Frontier
  readonly #rules = createRules()
  /** An entry that contradicts those before it; then lines are only hashed, until it shows which of them were changed. */
  #contradiction: { readonly index: number; readonly fault: Fault } | undefined

  constructor(sha256: Sha256, anchors: Anchors, answers: Answers) {
    this.#sha256 = sha256
    this.#anchors = anchors
    this.#answers = answers
    this.#frontier = createFrontier(sha256)
  }

  /** Entries without a fault of their own. */
  get sound(): number {
    return this.#contradiction?.index ?? this.#frontier.size
  }

  get root(): string {
    return hexOf(this.#frontier.root())
  }

  get state(): RunState | undefined {
    return this.#rules.state
  }

  /** Whether nothing that follows can say more about a contradiction. */
  get isSettled(): boolean {
    return this.#contradiction !== undefined && this.#anchors.isSettled(this.#contradiction.index)
  }

  begin(): void {
    this.#checkAnchors()
  }

  take(line: LedgerLine): void {
    const { bytes, leaf } = line instanceof Uint8Array ? { bytes: line, leaf: undefined } : line
    const hash = leafHash(this.#sha256, bytes)
    if (leaf !== undefined && !equalHashes({ a: hash, b: leaf })) {
      throw new Fault('leaf', 'its bytes are not those that were hashed when it was stored')
    }
    if (this.#contradiction === undefined) this.#look(bytes)
    this.#frontier.append(hash)
    this.#checkAnchors()
  }

  end(): FirstWrong | undefined {
    if (this.#contradiction !== undefined) return this.#placeContradiction(this.#anchors.agreedTo)
    this.#anchors.end(this.#frontier.size)
    return undefined
  }

  place(fault: Fault): FirstWrong {
    const { code, message: why } = fault
    const { from, to } = fault instanceof RangeFault ? fault : { from: this.sound, to: this.sound + 1 }
    if (this.#contradiction !== undefined) return this.#placeContradiction(Math.min(from, this.#anchors.agreedTo))
    return to <= from + 1 ? { index: from, code, why } : { index: from, to, code, why }
  }

  /** With nothing to agree with, or with the entries before it agreed, it is the entry itself; else it may be one before it. */
  #placeContradiction(agreedTo: number): FirstWrong {
    assert(this.#contradiction !== undefined, 'there is a contradiction to place')
    const { index, fault } = this.#contradiction
    const { code, message } = fault
    if (this.#anchors.isEmpty || agreedTo >= index) return { index, code, why: message }
    const why = `entry ${index}: ${message}; it, or one before it since entry ${agreedTo}, was changed`
    return { index: agreedTo, to: index + 1, code, why }
  }

  #look(bytes: Uint8Array): void {
    const { size: index } = this.#frontier
    try {
      const entry = shapeEntry(parseLine(bytes))
      this.#rules.apply(entry)
      for (const received of this.#answers.get(index) ?? []) checkReceived(entry, received)
    } catch (fault) {
      if (!(fault instanceof Fault) || !contradictions.has(fault.code)) throw fault
      this.#contradiction = { index, fault }
    }
  }

  #checkAnchors(): void {
    let root: string | undefined
    // Many answers may have come with one tree.
    const rootOnce = (): string => {
      root ??= this.root
      return root
    }
    this.#anchors.check(this.#frontier.size, rootOnce)
  }
}

function byIndex(answers: readonly ReceivedAnswer[]): Answers {
  const map = new Map<number, ReceivedAnswer[]>()
  for (const answer of answers) {
    const others = map.get(answer.ledgerIndex)
    if (others === undefined) map.set(answer.ledgerIndex, [answer])
    else others.push(answer)
  }
  return map
}

const headAnchor = ({ treeSize, root }: { treeSize: number; root: string }): Anchor => ({
  treeSize,
  root,
  seen: 'the commit',
})

async function outsideAnchors(input: VerifyInput): Promise<readonly Anchor[]> {
  return [...(await witnessAnchors(input)), ...(input.answers ?? []).map(answerAnchor)]
}

async function witnessAnchors(input: VerifyInput): Promise<readonly Anchor[]> {
  const { sha256, verifySignature, runId, witnesses = [] } = input
  if (witnesses.length === 0) return []
  assert(verifySignature !== undefined, 'witnesses come with a way to verify signatures')
  const checks = { sha256, verifySignature, ...(runId === undefined ? {} : { runId }) }
  const read = await Promise.all(witnesses.map((witness) => readWitness(witness, checks)))
  return read.map(({ treeSize, root }) => ({ treeSize, root, seen: 'the witnessed checkpoint' }))
}

/** An answer stands for the tree that it came with. */
const answerAnchor = ({ frame, cell, treeSize, root }: ReceivedAnswer): Anchor => ({
  treeSize,
  root,
  seen: `the answer to frame ${frame}, cell ${cell}`,
})
