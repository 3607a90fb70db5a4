// Limits on everything that comes from outside, in one place. Units last in each name.

export const limits = {
  /** JSON bodies of the API. */
  jsonBodyBytesMax: 4 * 1024 * 1024,
  jsonDepthMax: 32,
  /** A ZIP upload; larger packages go through the watched folder or a path. */
  packageUploadBytesMax: 2 * 1024 ** 3,
  packageBytesMax: 64 * 1024 ** 3,
  packageFilesMax: 100_000,
  /** A ZIP entry may unpack to at most this many times its packed size (beyond the first MiB). */
  zipRatioMax: 1_000,
  manifestBytesMax: 64 * 1024 * 1024,
  pathBytesMax: 512,
  /** One layer image; decoded 16-bit it then takes at most 512 MiB. */
  imagePixelsMax: 2 ** 28,
  imageSideMax: 65_535,
  /** Findings listed for one package; what goes beyond is counted. */
  findingsMax: 10_000,
  /** A capture of all lanes of a frame. */
  capturePixelsMax: 64 * 1024 * 1024,
  captureBytesMax: 64 * 1024 * 1024,
  codeBytesMax: 200,
  /** One row of a code table, quotes and all. */
  tableRowBytesMax: 8 * 1024,
  /** Findings of one kind listed for a code table; what goes beyond is counted. */
  tableFindingsMax: 100,
  /** The CSV of a ticket's sequence. */
  sequenceBytesMax: 2 * 1024 ** 3,
  sequencePositionMax: 99_999_999,
  templateFieldsMax: 32,
  templateTextMax: 500,
  framesPerRequestMax: 1_024,
  readsPerFrameMax: 256,
  laidPerRequestMax: 4_096,
  cellsMax: 256,
  designsMax: 100_000,
  /** A frame number may be at most this far above the last one. */
  frameLeapMax: 1_000,
  /** Positions are kept as integer µm in doubles: ±1000 km. */
  positionMmMax: 1e9,
  answersPerPageMax: 4_096,
  /** Labels of the frames that a controller has sent over its socket and that are not accepted yet: some MiB of answers. */
  lineWindowLabelsMax: 8_192,
  /** Laid reports of a controller that are not accepted yet. */
  lineLaidWaitingMax: 16_384,
  /** What waits for a controller that does not read. */
  lineWaitingBytesMax: 8 * 1024 * 1024,
  /** Messages in a row that cannot be read. */
  lineUnreadableMax: 16,
  nameLengthMax: 120,
  reasonLengthMax: 2_000,
} as const
