// Text that a spreadsheet would run or alter, marked so that it stays the text that it is; the mark can be taken off again.

/** What a cell would begin with to be taken for a formula, also in full width; and the mark itself, so that it can be undone. */
const runs = /^['=+\-@|%\t\r\n＝＋－＠]/
/** What would come out as another number or a date: leading zeros, more than 11 digits, exponents, digits parted by - / . or :. */
const altered = /^(0\d+|\d{12,}|\d+(\.\d+)?e[+-]?\d+|\d{1,4}([-/.:]\d{1,4}){1,3})$/i

/** A cell of text: an apostrophe goes before what a spreadsheet would run or alter, and before a text that begins with one. */
export const guardCell = (text: string): string => (runs.test(text) || altered.test(text) ? `'${text}` : text)

/** The text of a guarded cell: the apostrophe is taken off where `guardCell` put it, and no other. */
export const unguardCell = (cell: string): string =>
  cell.startsWith("'") && guardCell(cell.slice(1)) === cell ? cell.slice(1) : cell
