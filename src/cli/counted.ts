// A number of things, in words.

/** `1 label`, `300,000 labels`. */
export const counted = (count: number, word: string): string =>
  `${count.toLocaleString('en-GB')} ${word}${count === 1 ? '' : 's'}`
