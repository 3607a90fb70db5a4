// The files of a package against its manifest: all there, none too many, each with its digest.
import type { Finding } from '../kernel/problem.ts'
import type { ManifestDesign } from './manifest.ts'
import { pathFault, pathKey, shownPath } from './package-path.ts'
import type { StagedFile, StagedPackage } from './staging.ts'

function extraFiles(staged: StagedPackage, named: ReadonlySet<string>): Finding[] {
  const listed = new Set(['job.json', ...[...named].map(pathKey)])
  return staged.files
    .filter(({ path }) => !listed.has(path))
    .map(({ path }) => ({
      code: 'file-extra',
      file: shownPath(path),
      message: `${shownPath(path)} is in the package, but the manifest does not list it`,
    }))
}

/** Findings on files, and the staged file of every layer that has a sound one, by pointer. */
export function checkFiles(
  staged: StagedPackage,
  designs: readonly (ManifestDesign | undefined)[],
  named: ReadonlySet<string> | undefined,
): { findings: Finding[]; sound: ReadonlyMap<string, StagedFile> } {
  const byPath = new Map(staged.files.map((one) => [one.path, one]))
  const unfit = new Set(staged.findings.map((finding) => finding.file))
  const findings = named ? extraFiles(staged, named) : []
  const sound = new Map<string, StagedFile>()
  for (const [i, design] of designs.entries()) {
    for (const [j, layer] of (design?.layers ?? []).entries()) {
      const pointer = `/designs/${i}/layers/${j}`
      const shown = shownPath(layer.file)
      const one = byPath.get(pathKey(layer.file))
      if (one?.digest === layer.sha256) sound.set(pointer, one)
      else if (one) {
        findings.push({
          code: 'file-digest',
          file: shown,
          pointer: `${pointer}/sha256`,
          message: `${shown} does not have the digest that the manifest states`,
          measured: one.digest,
          limit: layer.sha256,
        })
      } else if (!unfit.has(shown) && pathFault(layer.file) === undefined) {
        findings.push({
          code: 'file-missing',
          file: shown,
          pointer: `${pointer}/file`,
          message: `${shown} is listed, but not in the package`,
        })
      }
    }
  }
  return { findings, sound }
}
