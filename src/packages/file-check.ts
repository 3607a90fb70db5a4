// The files of a package against its manifest: all there, none too many, each with its digest.
import type { Finding } from '../kernel/problem.ts'
import type { ManifestParts } from './manifest-reading.ts'
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

/** A file that the manifest names with its digest, and where it does. */
interface NamedFile {
  readonly pointer: string
  readonly file: string
  readonly sha256: string
}

function namedWithDigest({ code, designs }: Pick<ManifestParts, 'code' | 'designs'>): NamedFile[] {
  const layers = designs.flatMap((design, i) =>
    (design?.layers ?? []).map(({ file, sha256 }, j) => ({ pointer: `/designs/${i}/layers/${j}`, file, sha256 })),
  )
  return code?.rule === 'table' ? [{ pointer: '/code', file: code.file, sha256: code.sha256 }, ...layers] : layers
}

function fileFinding({ pointer, file, sha256 }: NamedFile, staged: StagedFile | undefined): Finding {
  const shown = shownPath(file)
  const fault = pathFault(file)
  if (fault !== undefined) {
    return {
      code: 'file-path',
      file: 'job.json',
      pointer: `${pointer}/file`,
      message: `the file name ${shown} ${fault}`,
    }
  }
  if (!staged) {
    const message = `${shown} is listed, but not in the package`
    return { code: 'file-missing', file: shown, pointer: `${pointer}/file`, message }
  }
  return {
    code: 'file-digest',
    file: shown,
    pointer: `${pointer}/sha256`,
    message: `${shown} does not have the digest that the manifest states`,
    measured: staged.digest,
    limit: sha256,
  }
}

/** Findings on files, and the staged file of everything that names a sound one, by pointer. */
export function checkFiles(
  staged: StagedPackage,
  parts: Pick<ManifestParts, 'code' | 'designs' | 'filesNamed'>,
): { findings: Finding[]; sound: ReadonlyMap<string, StagedFile> } {
  const byPath = new Map(staged.files.map((one) => [one.path, one]))
  const unfit = new Set(staged.findings.map((finding) => finding.file))
  const findings = parts.filesNamed ? extraFiles(staged, parts.filesNamed) : []
  const sound = new Map<string, StagedFile>()
  for (const named of namedWithDigest(parts)) {
    const one = byPath.get(pathKey(named.file))
    // A file that could not be taken in has its finding already.
    const isTold = !one && unfit.has(shownPath(named.file))
    if (one?.digest === named.sha256) sound.set(named.pointer, one)
    else if (!isTold) findings.push(fileFinding(named, one))
  }
  return { findings, sound }
}
