// A package's rows in the catalogue tables: what is known of a job, and the one transaction that publishes.
import type { Kysely, Transaction } from 'kysely'
import { canonicalText } from '../kernel/bytes.ts'
import { Problem } from '../kernel/problem.ts'
import type { Tables } from '../storage/port.ts'
import { checkKnown, type KnownJob } from './known.ts'
import type { Manifest } from './manifest.ts'
import type { CarriedVersion, ManifestReport } from './manifest-check.ts'
import type { DesignFacts } from './package-check.ts'

/** Reads what is published of a job. */
export async function readKnown(tables: Kysely<Tables>, job: string): Promise<KnownJob> {
  const packages = await tables.selectFrom('packages').select(['package', 'digest']).where('job', '=', job).execute()
  const versions = await tables
    .selectFrom('versions')
    .select(['design', 'version', 'digest'])
    .where('job', '=', job)
    .execute()
  return {
    ...(packages.length > 0 ? { lastPackage: Math.max(...packages.map((row) => row.package)) } : {}),
    packages: Object.fromEntries(packages.map((row) => [row.package, row.digest])),
    versions: Object.fromEntries(versions.map((row) => [`${row.design}/${row.version}`, row.digest])),
  }
}

interface PackageEntry {
  readonly report: ManifestReport & { readonly manifest: Manifest; readonly digest: string }
  readonly facts: readonly DesignFacts[]
  /** Digest of the code index that was stored, where the rule is a table. */
  readonly codeIndex: string | null
  readonly bytes: number
  readonly atMs: number
  readonly by: string
}

// Engines bound the parameters of one statement.
const rowsPerInsert = 500

async function inPieces<T>(rows: readonly T[], insert: (piece: readonly T[]) => Promise<unknown>): Promise<void> {
  for (let at = 0; at < rows.length; at += rowsPerInsert) await insert(rows.slice(at, at + rowsPerInsert))
}

async function insertVersions(
  tables: Transaction<Tables>,
  { job, package: number }: Manifest,
  { all, fresh }: { all: readonly CarriedVersion[]; fresh: readonly CarriedVersion[] },
): Promise<void> {
  await inPieces(fresh, (piece) =>
    tables
      .insertInto('versions')
      .values(
        piece.map(({ design, version, digest, content }) => ({
          job,
          design,
          version,
          digest,
          content,
          firstPackage: number,
          releasedAtMs: null,
          withdrawnAtMs: null,
        })),
      )
      .execute(),
  )
  await inPieces(all, (piece) =>
    tables
      .insertInto('packageVersions')
      .values(piece.map(({ design, version }) => ({ job, package: number, design, version })))
      .execute(),
  )
}

/**
 * Publishes in one transaction and returns the versions that are new. What is known is read again inside, in case another process
 * published meanwhile: Problem `package-refused` with findings then.
 */
export function insertPackage(
  catalogue: Kysely<Tables>,
  { report, facts, codeIndex, bytes, atMs, by }: PackageEntry,
): Promise<readonly { design: string; version: number }[]> {
  const { manifest, digest, versions } = report
  const { job, title, package: number } = manifest
  const row = {
    job,
    package: number,
    title,
    digest,
    manifest: canonicalText(manifest),
    report: JSON.stringify({ designs: facts }),
    codeIndex,
    bytes,
    publishedAtMs: atMs,
    by,
  }
  return catalogue.transaction().execute(async (tables) => {
    const known = await readKnown(tables, job)
    const findings = checkKnown(report, known)
    if (findings.length > 0) {
      throw new Problem('package-refused', `package ${number} of ${job} clashes with one published meanwhile`, {
        findings,
      })
    }
    const fresh = versions.filter(({ design, version }) => known.versions[`${design}/${version}`] === undefined)
    await tables.insertInto('packages').values(row).execute()
    await insertVersions(tables, manifest, { all: versions, fresh })
    const act = { atMs, act: 'publish', by, why: '', job, package: number, design: null, version: null }
    await tables.insertInto('acts').values(act).execute()
    return fresh.map(({ design, version }) => ({ design, version }))
  })
}
