// Names of people: two spellings that a person takes for one name are one.

// Soft hyphens, joiners, marks of direction, control characters: nobody sees them.
const unseen = /[\p{Cf}\p{Default_Ignorable_Code_Point}]|(?!\s)\p{Cc}/gu

// Lower, upper, lower again: ẞ and ß become ss, and ı becomes i. What is left of İ is a dot over the i, and of a final sigma its form.
const caseless = (text: string): string =>
  text.toLowerCase().toUpperCase().toLowerCase().replaceAll('i\u0307', 'i').replaceAll('ς', 'σ')

const plain = (name: string): string =>
  caseless(name.normalize('NFKC').replaceAll(unseen, '')).normalize('NFKC').replaceAll(/\s+/g, ' ').trim()

/** Whether two names are the same but for case, spaces, characters that nobody sees, and the form of their letters and accents. */
export const isSameName = (one: string, other: string): boolean => plain(one) === plain(other)
