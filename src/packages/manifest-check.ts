// The check of a staged package short of its pictures: manifest, frame, rule, designs, files. What is left to look at comes out as
// layer files, which can be checked one by one and in any order.
import { readFileSync } from 'node:fs'
import type { Rule } from '../codes/index.ts'
import { canonicalText, type Digest, sha256Hex } from '../kernel/bytes.ts'
import { limits } from '../kernel/limits.ts'
import { type Finding, Problem } from '../kernel/problem.ts'
import { openClearZones } from './clear-zones.ts'
import { compileRule } from './compile-rule.ts'
import { checkDesigns } from './design-check.ts'
import { duplicatesIn } from './duplicates.ts'
import { checkFiles } from './file-check.ts'
import { checkFrame } from './frame-check.ts'
import type { LayerFile, LayerUse } from './layer-check.ts'
import type { Manifest, ManifestDesign } from './manifest.ts'
import { type ManifestParts, type ManifestReading, readManifest } from './manifest-reading.ts'
import type { StagedFile, StagedPackage } from './staging.ts'

/** A version as a package carries it. */
export interface CarriedVersion {
  readonly design: string
  readonly version: number
  /** Canonical JSON of print versions and layers: what never changes under this number. */
  readonly content: string
  readonly digest: Digest
}

export interface ManifestReport {
  readonly findings: readonly Finding[]
  /** Present when the manifest fits its schema. */
  readonly manifest?: Manifest
  /** SHA-256 of the canonical manifest; layer digests are inside, so it stands for the whole package. */
  readonly digest?: Digest
  readonly versions: readonly CarriedVersion[]
  readonly layerFiles: readonly LayerFile[]
}

/** The part of a design that a version number stands for. */
export function carriedVersion({ design, version, printVersions, layers }: ManifestDesign): CarriedVersion {
  const content = canonicalText({ printVersions, layers })
  return { design, version, content, digest: sha256Hex(content) }
}

function readStagedManifest(staged: StagedPackage): ManifestReading {
  const file = 'job.json'
  const one = staged.files.find(({ path }) => path === file)
  const nothing: ManifestParts = { designs: [], filesNamed: undefined }
  if (!one) {
    return { parts: nothing, findings: [{ code: 'manifest-missing', file, message: 'the package has no job.json' }] }
  }
  if (one.bytes > limits.manifestBytesMax) {
    const sizes = { measured: one.bytes, limit: limits.manifestBytesMax }
    return {
      parts: nothing,
      findings: [{ code: 'package-too-large', file, message: 'job.json is too large', ...sizes }],
    }
  }
  return readManifest(readFileSync(one.stored))
}

interface RuleReading {
  readonly rule?: Rule
  readonly findings: readonly Finding[]
}

function readRule({ code, job, designs }: ManifestParts): RuleReading {
  if (!code || job === undefined) return { findings: [] }
  const file = 'job.json'
  const twice = duplicatesIn(code.symbologies, '/code/symbologies', (symbology) => `symbology ${symbology}`)
  try {
    // What a table can name is known once its index is built.
    if (code.rule === 'table') return { findings: twice }
    const names = designs.flatMap((design) => (design ? [design.design] : []))
    return { rule: compileRule(code, { job, designs: names }), findings: twice }
  } catch (error) {
    if (!(error instanceof Problem)) throw error
    const { pointer = '/code/template', ...place } = error.place
    return { findings: [...twice, { ...place, code: error.code, file, pointer, message: error.message }] }
  }
}

// Layers by the file that they are drawn from, in the manifest's order.
function layerFiles({ designs, frame }: ManifestParts, sound: ReadonlyMap<string, StagedFile>): LayerFile[] {
  const zonesOf = frame ? openClearZones(frame) : () => []
  const files = new Map<string, { file: string; stored: string; uses: LayerUse[] }>()
  for (const [i, design] of designs.entries()) {
    for (const [j, layer] of (design?.layers ?? []).entries()) {
      const pointer = `/designs/${i}/layers/${j}`
      const staged = sound.get(pointer)
      if (!staged) continue
      const known = files.get(staged.stored) ?? { file: staged.path, stored: staged.stored, uses: [] }
      files.set(staged.stored, known)
      known.uses.push({ pointer, layer, zones: zonesOf(layer) })
    }
  }
  return [...files.values()]
}

/** Checks everything but the pictures. Pure, apart from reading the staged manifest; never throws on a bad package. */
export function checkManifest(staged: StagedPackage): ManifestReport {
  const { parts, findings } = readStagedManifest(staged)
  const { frame, designs, whole } = parts
  const { rule, findings: ruleFindings } = readRule(parts)
  const files = checkFiles(staged, parts)
  return {
    findings: [
      ...staged.findings,
      ...findings,
      ...(frame ? checkFrame(frame) : []),
      ...ruleFindings,
      ...checkDesigns(designs, { frame, rule }),
      ...files.findings,
    ],
    versions: whole?.designs.map(carriedVersion) ?? [],
    layerFiles: layerFiles(parts, files.sound),
    ...(whole ? { manifest: whole, digest: sha256Hex(canonicalText(whole)) } : {}),
  }
}
