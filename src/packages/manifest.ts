// The manifest `job.json` of a job package, schema `rollcall.job/1`: the one source of its types and of its JSON Schema.
import * as z from 'zod'
import { digestPattern } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { type SymbologyName, stationKinds, symbologyLetters } from '../kernel/terms.ts'

const name = z
  .string()
  .min(1)
  .max(limits.nameLengthMax)
  .regex(/^[A-Za-z0-9][A-Za-z0-9._-]*$/)
const mm = z.number().min(-100_000).max(100_000)
const sizeMm = z.number().positive().max(100_000)
const dpi = z.number().min(20).max(25_400)
const positiveInt = z.int().min(1).max(1_000_000_000)

const rectMm = { leftMm: mm, topMm: mm, widthMm: sizeMm, heightMm: sizeMm }

const cell = z
  .strictObject({
    cell: z.int().min(1).max(limits.cellsMax),
    lane: z.int().min(1).max(limits.cellsMax),
    row: z.int().min(1).max(limits.cellsMax),
    ...rectMm,
    rotateDeg: z.literal([0, 90, 180, 270]),
    bleedMm: z.number().min(0).max(50),
  })
  .meta({
    id: 'Cell',
    description: 'A place for one label within the frame; origin at the upper left of the frame as printed.',
  })

const codeAt = z
  .strictObject({
    identifies: z.enum(['cell', 'lane', 'frame']),
    from: z.enum(['cell', 'frame']).meta({ description: 'The origin of leftMm and topMm: each cell, or the frame.' }),
    ...rectMm,
    quietMm: z
      .number()
      .min(0)
      .max(50)
      .meta({ description: 'Quiet zone on every side that artwork must leave free, mm.' }),
  })
  .meta({ id: 'CodeAt' })

const eyeMark = z.strictObject(rectMm).meta({ id: 'EyeMark' })

const frame = z
  .strictObject({
    pitchMm: sizeMm,
    webWidthMm: sizeMm,
    cells: z.array(cell).min(1).max(limits.cellsMax),
    codeAt,
    eyeMark: eyeMark.optional(),
    substrates: z.array(name).min(1).max(100),
  })
  .meta({ id: 'Frame' })

const symbologies = z
  .array(z.enum(Object.keys(symbologyLetters) as [SymbologyName, ...SymbologyName[]]))
  .min(1)
  .max(8)

const code = z
  .discriminatedUnion('rule', [
    z.strictObject({
      rule: z.literal('template'),
      symbologies,
      template: z.string().min(1).max(limits.templateTextMax),
    }),
    z.strictObject({
      rule: z.literal('gs1'),
      symbologies,
      design: name,
      print: name.optional(),
      serial: name.optional(),
    }),
    z.strictObject({
      rule: z.literal('table'),
      symbologies,
      file: z
        .string()
        .min(1)
        .max(limits.pathBytesMax)
        .meta({ description: 'CSV: code, design, then optionally print, serial, cell' }),
      sha256: z.string().regex(digestPattern),
    }),
  ])
  .meta({ id: 'CodeRule' })

const layer = z
  .strictObject({
    layer: name,
    station: z.enum(stationKinds),
    pass: z.int().min(1).max(16),
    order: z.int().min(1).max(256).meta({ description: 'Order of laying within the pass.' }),
    scope: z.enum(['cell', 'frame', 'common']),
    file: z.string().min(1).max(limits.pathBytesMax),
    sha256: z.string().regex(digestPattern),
    resolution: z.strictObject({ acrossDpi: dpi, alongDpi: dpi }),
    heightUm: z.number().positive().max(2_000).optional(),
    foil: name.optional(),
    placement: z.strictObject(rectMm).meta({
      id: 'Placement',
      description:
        'Upper left corner and size of the layer, mm, from the cell (scope cell) or the frame (scope frame, common).',
    }),
  })
  .meta({ id: 'Layer', description: 'A height layer has heightUm; a foil mask has foil. Exactly one of the two.' })

const design = z
  .strictObject({
    design: name,
    version: positiveInt,
    printVersions: z.array(name).min(1).max(1_000),
    layers: z.array(layer).min(1).max(64),
  })
  .meta({ id: 'Design' })

export const manifestSchema = z
  .strictObject({
    schema: z.literal('rollcall.job/1'),
    job: name,
    package: positiveInt,
    title: z.string().min(1).max(500),
    frame,
    code,
    designs: z.array(design).min(1).max(limits.designsMax),
  })
  .meta({ id: 'JobManifest', title: 'rollcall.job/1' })

export type Manifest = z.infer<typeof manifestSchema>
export type ManifestFrame = Manifest['frame']
export type ManifestCell = ManifestFrame['cells'][number]
export type ManifestDesign = Manifest['designs'][number]
export type ManifestLayer = ManifestDesign['layers'][number]
