// Trade item numbers of the yoghurts, and the Digital Link URIs that carry them. GS1 keeps the prefix 952 for demonstrations and
// examples (from memory), so no real item has one of these numbers; the host is in `.example`, which nobody can own (RFC 2606).

/** The check digit of a number: from the right, digits count three times and once in turn (GS1 General Specifications, mod 10). */
export function checkDigit(digits: string): string {
  const sum = [...digits]
    .reverse()
    .reduce((total, digit, index) => total + Number(digit) * (index % 2 === 0 ? 3 : 1), 0)
  return String((10 - (sum % 10)) % 10)
}

/** The 14 digits of a trade item of the company 952 1234; `item` is 1 to 99,999. */
export function tradeNumber(item: number): string {
  const digits = `09521234${String(item).padStart(5, '0')}`
  return digits + checkDigit(digits)
}

/** The number with another last digit. */
export const withWrongCheckDigit = (number: string): string =>
  number.slice(0, -1) + String((Number(number.slice(-1)) + 1) % 10)

const host = 'https://wrenfold.example'

/** Item, its print version as consumer product variant (AI 22), and serial (AI 21); without an item the primary key is missing. */
export const linkUri = ({ number, print, serial }: { number?: string; print: string; serial: string }): string =>
  `${host}${number === undefined ? '' : `/01/${number}`}/22/${print}/21/${serial}`
