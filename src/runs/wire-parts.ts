// mm to µm and back, and what the schemas of acts share with those of the protocol.
export { count, positionMm, textUpTo, wellFormed } from '../protocol/index.ts'

export const toUm = (mm: number): number => Math.round(mm * 1000)
export const toMm = (um: number): number => um / 1000
