// The door of orientation: how a roll runs into the line, in data, in words and as a drawing.
export {
  type Impossible,
  impossibleCodes,
  type Orientation,
  type TravellingCell,
} from './orientation.ts'
export { type OrientationInquiry, orientationOf } from './orientation-of.ts'
export { type DrawingOrder, orientationSvg } from './orientation-svg.ts'
export { acrossPasses, type PassesAgree, rewound } from './passes.ts'
export { orientationWords } from './words.ts'
