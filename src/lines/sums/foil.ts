// Formulas of foil. It travels with the web as long as the nip is closed, over skipped labels, gaps and set-up alike.

/**
 * Foil that a place on a shaft uses up, m: web with the nip closed, and the threading of every reel that is put there. Source: DESIGN §7.
 * - `webM`: web that runs while the nip is closed, m: all frames (laid or skipped, with their gaps) and set-up
 * - `threadingM`: foil that threading one reel uses up, m
 * - `reels`: reels put there one after the other, 1 or more
 *
 * Example: 1,200 m of web, 8 m to thread, two reels: 1,216 m.
 */
export const foilM = ({
  webM,
  threadingM,
  reels,
}: {
  readonly webM: number
  readonly threadingM: number
  readonly reels: number
}): number => webM + threadingM * reels

/** Area of foil, m²: Example: 1,216 m of 80 mm are 97.28 m². */
export const foilM2 = ({ lengthM, widthMm }: { readonly lengthM: number; readonly widthMm: number }): number =>
  (lengthM * widthMm) / 1000

/**
 * Reels of `lengthM` that so much web takes, one after the other: each gives its length less its threading. Undefined where a reel is
 * not longer than its threading. Derived.
 *
 * Example: 1,200 m of web from reels of 610 m, 8 m to thread: 1,200 / 602 = 1.99…, so 2.
 */
export function reelsFor({
  webM,
  lengthM,
  threadingM,
}: {
  readonly webM: number
  readonly lengthM: number
  readonly threadingM: number
}): number | undefined {
  const givesM = lengthM - threadingM
  if (givesM <= 0) return undefined
  return Math.max(1, Math.ceil(webM / givesM - 1e-9))
}
