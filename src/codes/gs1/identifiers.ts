// Which ISO/IEC 15424 symbology identifiers say that a code holds an element string: those of symbols with FNC1 in first position.

/** GS1-128; GS1 DataBar and composites; GS1 DataMatrix; GS1 QR Code; GS1 DotCode (General Specifications, figure 5.1.3-1). */
const elementStringCarriers: ReadonlySet<string> = new Set([']C1', ']e0', ']e1', ']e2', ']e3', ']d2', ']Q3', ']J1'])

export const carriesElementString = (identifier: string): boolean => elementStringCarriers.has(identifier)

export const isIdentifier = (text: string): boolean => /^\][A-Za-z][0-9A-Za-z]$/.test(text)

/** The identifier that a scanner may put before the text. No element string and no URI begins with a bracket. */
export const leadingIdentifier = (text: string): string | undefined => {
  const start = text.slice(0, 3)
  return isIdentifier(start) ? start : undefined
}
