// Which symbologies a read may come from, by its ISO/IEC 15424 identifier: `]`, a letter for the symbology, a modifier.
import { symbologyLetters } from '../kernel/terms.ts'
import type { SymbologyFit } from './rule.ts'

/**
 * By the letter alone: QR and Micro QR share one, and so a reader that must tell them apart has to be asked for one of them. An
 * identifier that isn't one fits nothing.
 */
export const symbologyFits: SymbologyFit = (symbologies, identifier) => {
  if (identifier === undefined) return true
  if (!/^\][A-Za-z][0-9A-Za-z]$/.test(identifier)) return false
  return symbologies.some((symbology) => symbologyLetters[symbology] === identifier[1])
}
