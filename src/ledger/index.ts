// The ledger: entries and their bytes, the group-commit writer, checkpoints, proofs, and the verifier.
export { signCheckpoint, verifySignature } from './checkpoint.ts'
export { decodeEntry } from './codec.ts'
export {
  type Entry,
  type EntryBodies,
  type EntryDraft,
  type EntryType,
  entryBodies,
  entryTypes,
  materialEvents,
  type ProvingReason,
  provingReasons,
} from './entries.ts'
export type { CommitFacts } from './group-commit.ts'
export { openSigningKey, type SigningKey } from './keys.ts'
export { type EntryProof, proveEntry } from './prove-entry.ts'
export { readEntries, storedLines } from './read.ts'
export type { Appended, RunLedger } from './run-ledger.ts'
export type { FaultCode } from './verify/fault.ts'
export type { ReceivedAnswer } from './verify/received.ts'
export { splitLines } from './verify/split-lines.ts'
export { type FirstWrong, type LedgerLine, type VerifyInput, type VerifyResult, verifyLedger } from './verify/verify.ts'
export { type LedgerWriter, openLedgerWriter } from './writer.ts'
