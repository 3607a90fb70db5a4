// Names of people: two spellings that a person takes for one name are one.

const plain = (name: string): string => name.normalize('NFKC').trim().replaceAll(/\s+/g, ' ').toLowerCase()

/** Whether two names are the same but for case, spaces and the form of their accents. */
export const isSameName = (one: string, other: string): boolean => plain(one) === plain(other)
