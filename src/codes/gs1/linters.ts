// The checks that the dictionary names, by their names there.
import type { Linter } from './lint.ts'
import { iso3166, iso3166alpha2, iso4217, iso5218, iso3166999, mediatype, packagetype } from './lint-codes.ts'
import { couponcode, couponposoffer } from './lint-coupons.ts'
import { hh, hhmi, mi, ss, yymmd0, yymmdd, yyyymmdd } from './lint-dates.ts'
import { csum, csumalpha, iban } from './lint-sums.ts'
import * as values from './lint-values.ts'

const { gcppos1, gcppos2, hasnondigit, hyphen, importeridx, latitude, longitude, nonzero, nozeroprefix } = values
const { pcenc, pieceoftotal, posinseqslash, winding, yesno, zero } = values

export const linters = {
  couponcode,
  couponposoffer,
  csum,
  csumalpha,
  gcppos1,
  gcppos2,
  hasnondigit,
  hh,
  hhmi,
  hyphen,
  iban,
  importeridx,
  iso3166,
  iso3166999,
  iso3166alpha2,
  iso4217,
  iso5218,
  latitude,
  longitude,
  mediatype,
  mi,
  nonzero,
  nozeroprefix,
  packagetype,
  pcenc,
  pieceoftotal,
  posinseqslash,
  ss,
  winding,
  yesno,
  yymmd0,
  yymmdd,
  yyyymmdd,
  zero,
} as const satisfies Readonly<Record<string, Linter>>

export type LinterName = keyof typeof linters

export const isLinterName = (name: string): name is LinterName => Object.hasOwn(linters, name)
