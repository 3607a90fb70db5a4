// Unused error correction as ISO/IEC 15415 has it, from what the decoder says of it.

interface Extra {
  readonly UEC?: unknown
  readonly Version?: unknown
  readonly ECLevel?: unknown
}

/**
 * QR codes of version 1 keep some of their d check codewords for detecting misreads alone: p of them (ISO/IEC 18004 table 9). The
 * decoder counts, and spends, those as well; here 1 − (e + 2t) / (d − p) holds.
 */
const version1: Readonly<Record<string, { readonly d: number; readonly p: number }>> = {
  L: { d: 7, p: 3 },
  M: { d: 10, p: 2 },
  Q: { d: 13, p: 1 },
  H: { d: 17, p: 1 },
}

/**
 * 0 to 1; `none` for symbologies without error correction; `overdrawn` where the decoder corrected more than the standard allows,
 * so that the content can't be trusted. `extra` is the decoder's JSON.
 */
export function unusedCorrection(extra: string): number | 'none' | 'overdrawn' {
  const { UEC: stated, Version: version, ECLevel: level } = (extra === '' ? {} : JSON.parse(extra)) as Extra
  if (typeof stated !== 'number' || !(stated >= 0 && stated <= 1)) return 'none'
  const kept = version === '1' ? version1[String(level)] : undefined
  if (kept === undefined) return stated
  // The decoder cuts its share to hundredths.
  const spent = Math.round((1 - stated) * kept.d)
  const unused = 1 - spent / (kept.d - kept.p)
  return unused < 0 ? 'overdrawn' : unused
}
