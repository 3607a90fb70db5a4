// From the bytes of job.json to a manifest, or to everything that is wrong with it. Parts that stand by themselves are kept even when
// others don't, so that one mistake hides no other.
import type * as z from 'zod'
import { limits } from '../kernel/limits.ts'
import type { Finding } from '../kernel/problem.ts'
import { pointerOf, pointerToken, scanJson } from './json-scan.ts'
import { type Manifest, type ManifestDesign, manifestSchema } from './manifest.ts'

/** What could be read of a manifest. A part is absent where the schema refuses it. */
export interface ManifestParts {
  readonly whole?: Manifest
  readonly job?: string
  readonly frame?: Manifest['frame']
  readonly code?: Manifest['code']
  readonly designs: readonly (ManifestDesign | undefined)[]
  /** Files named anywhere in a design or the code table, good or bad; undefined where the manifest tells none. */
  readonly filesNamed: ReadonlySet<string> | undefined
}

export interface ManifestReading {
  readonly parts: ManifestParts
  readonly findings: readonly Finding[]
}

const file = 'job.json'
const nothing: ManifestParts = { designs: [], filesNamed: undefined }

// A short form of the value met, for a person.
function measuredAt(value: unknown): string | number | undefined {
  if (value === undefined) return 'absent'
  if (typeof value === 'number') return value
  if (Array.isArray(value)) return `a list of ${value.length}`
  if (typeof value === 'object' && value !== null) return 'an object'
  const text = String(value)
  return text.length > 80 ? `${text.slice(0, 80)}… (${text.length} characters)` : text
}

function limitOf(issue: z.core.$ZodIssue): string | number | undefined {
  switch (issue.code) {
    case 'too_big':
      return Number(issue.maximum)
    case 'too_small':
      return Number(issue.minimum)
    case 'invalid_value':
      return issue.values.map(String).join(', ')
    case 'invalid_union':
      return 'options' in issue && Array.isArray(issue.options) ? issue.options.map(String).join(', ') : undefined
    case 'invalid_type':
      return issue.expected
    default:
      return undefined
  }
}

const pathOf = (issue: z.core.$ZodIssue): (string | number)[] =>
  issue.path.map((part) => (typeof part === 'symbol' ? String(part) : part))

function valueAt(value: unknown, path: readonly (string | number)[]): unknown {
  let at: unknown = value
  for (const part of path) {
    if (typeof at !== 'object' || at === null || !Object.hasOwn(at, part)) return undefined
    at = (at as Record<string | number, unknown>)[part]
  }
  return at
}

function issueFindings(issue: z.core.$ZodIssue, value: unknown): Finding[] {
  const path = pathOf(issue)
  const pointer = pointerOf(path)
  if (issue.code === 'unrecognized_keys') {
    return issue.keys.map((key) => ({
      code: 'manifest-unknown-field',
      file,
      pointer: `${pointer}/${pointerToken(key)}`,
      message: `the schema knows no field ${JSON.stringify(key.slice(0, 80))} here`,
    }))
  }
  const measured = measuredAt(valueAt(value, path))
  const limit = limitOf(issue)
  return [
    {
      code: 'manifest-schema',
      file,
      pointer,
      message: `${pointer || 'the manifest'}: ${issue.message}`,
      ...(measured === undefined ? {} : { measured }),
      ...(limit === undefined ? {} : { limit }),
    },
  ]
}

// Takes unknown fields out of the value, so that the part around them can still be read.
function dropUnknown(value: unknown, issues: readonly z.core.$ZodIssue[]): void {
  for (const issue of issues) {
    if (issue.code !== 'unrecognized_keys') continue
    const holder = valueAt(value, pathOf(issue))
    for (const key of issue.keys) if (typeof holder === 'object' && holder !== null) Reflect.deleteProperty(holder, key)
  }
}

const listAt = (value: unknown, path: readonly (string | number)[]): readonly unknown[] => {
  const list = valueAt(value, path)
  return Array.isArray(list) ? list : []
}

function namedFiles(value: unknown): ReadonlySet<string> | undefined {
  if (!Array.isArray(valueAt(value, ['designs']))) return undefined
  const layers = listAt(value, ['designs']).flatMap((design) => listAt(design, ['layers']))
  const files = [...layers.map((layer) => valueAt(layer, ['file'])), valueAt(value, ['code', 'file'])]
  return new Set(files.filter((name) => typeof name === 'string'))
}

function readParts(value: unknown): ManifestParts {
  const { shape } = manifestSchema
  const job = shape.job.safeParse(valueAt(value, ['job'])).data
  const frame = shape.frame.safeParse(valueAt(value, ['frame'])).data
  const code = shape.code.safeParse(valueAt(value, ['code'])).data
  const designs = listAt(value, ['designs'])
    .slice(0, limits.designsMax)
    .map((design) => shape.designs.element.safeParse(design).data)
  return {
    designs,
    filesNamed: namedFiles(value),
    ...(job === undefined ? {} : { job }),
    ...(frame === undefined ? {} : { frame }),
    ...(code === undefined ? {} : { code }),
  }
}

function decodeUtf8(bytes: Uint8Array): string | undefined {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes)
  } catch {
    return undefined
  }
}

const notJson = (message: string, place: Pick<Finding, 'row'> = {}): ManifestReading => ({
  parts: nothing,
  findings: [{ code: 'manifest-not-json', file, message, ...place }],
})

function parse(text: string): { readonly value: unknown } | ManifestReading {
  try {
    return { value: JSON.parse(text) }
  } catch (error) {
    const message = (error as Error).message.replace(/\s+/g, ' ')
    const position = /position (\d+)/.exec(message)?.[1]
    const row = position === undefined ? {} : { row: text.slice(0, Number(position)).split('\n').length }
    return notJson(`job.json is not JSON: ${message.slice(0, 300)}`, row)
  }
}

/** Reads a manifest. Never throws, whatever the bytes. */
export function readManifest(bytes: Uint8Array): ManifestReading {
  const text = decodeUtf8(bytes)
  if (text === undefined) return notJson('job.json is not UTF-8')
  const { depth, duplicates } = scanJson(text, { depthMax: limits.jsonDepthMax, duplicatesMax: limits.findingsMax })
  if (depth > limits.jsonDepthMax) {
    const place = { file, measured: depth, limit: limits.jsonDepthMax }
    return {
      parts: nothing,
      findings: [{ code: 'body-too-deep', message: 'job.json is nested deeper than the limit', ...place }],
    }
  }
  const parsed = parse(text)
  if ('findings' in parsed) return parsed
  const { value } = parsed
  const findings: Finding[] = duplicates.map((pointer) => ({
    code: 'manifest-duplicate',
    file,
    pointer,
    message: `the field ${pointer} is given twice`,
  }))
  const result = manifestSchema.safeParse(value)
  if (result.success) {
    const { job, frame, code, designs } = result.data
    return { parts: { whole: result.data, job, frame, code, designs, filesNamed: namedFiles(value) }, findings }
  }
  for (const issue of result.error.issues) findings.push(...issueFindings(issue, value))
  dropUnknown(value, result.error.issues)
  return { parts: readParts(value), findings }
}
