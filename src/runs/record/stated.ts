// What the tickets state against what came, in words: how many labels are short or over, and what would mend that.
import type { Expected } from './reconciliation.ts'

export interface StatedTexts {
  readonly text: string
  /** Absent where nothing differs. */
  readonly mend?: string
}

const shortMend =
  'record the frames that are missing (cut-out with frames, until the run is sealed), or correct expectedFrames where the ticket states too many'
const overMend = 'correct expectedFrames: the ticket states too few'

/** `seen`: labels that came. `count`: how numbers are written. */
export function statedTexts(
  { labels, missing, difference }: Expected,
  { seen, count = String }: { readonly seen: number; readonly count?: (value: number) => string },
): StatedTexts {
  const missed = missing > 0 ? `, ${count(missing)} recorded as missing before the sensor` : ''
  const text = `Stated by ticket: ${count(labels)} labels. In: ${count(seen)}${missed}`
  if (difference === 0) return { text: `${text}; no difference.` }
  const [how, mend] = difference > 0 ? ['less than', shortMend] : ['more than', overMend]
  return { text: `${text}; ${count(Math.abs(difference))} ${how} stated.`, mend: `To mend that: ${mend}.` }
}
