// Ways to read a code that can't be read as it stands, cheapest first. Which way saves which code was measured on QR and Data
// Matrix at 4 px a module, 24 pictures a case:
//   stretch           contrast 8 %, 4 %
//   blur and stretch  noise of 50 gray levels, contrast 8 % under noise
//   three times       modules of 1.4 px, blur of 2 px, noise of 30 levels, contrast 8 % under noise
//   blur, twice, blur noise of 70 levels
// Sharpening after enlarging, median filters and local contrast gained nothing that these didn't.
import { blur, enlarge, type GrayPicture, stretch } from './gray.ts'

export interface Rescue {
  /** Pixels that the decoder is given, in multiples of the region's. */
  readonly pixelsFactor: number
  /** How much larger the mended picture is on either side. */
  readonly scale: number
  readonly mend: (region: GrayPicture) => GrayPicture
}

export const rescues: readonly Rescue[] = [
  { pixelsFactor: 1, scale: 1, mend: (region) => region },
  { pixelsFactor: 1, scale: 1, mend: stretch },
  { pixelsFactor: 1, scale: 1, mend: (region) => stretch(blur(region)) },
  { pixelsFactor: 9, scale: 3, mend: (region) => enlarge(region, 3) },
  { pixelsFactor: 4, scale: 2, mend: (region) => blur(enlarge(blur(region), 2)) },
]
