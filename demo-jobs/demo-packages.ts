// The demo's deliveries: packages through the watched folder, one that is refused, the releases, and a disk that rots.
import { chmod, cp, readFile, rename, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { prepress, type Stage, until } from './demo-stage.ts'
import type { Damage, Scenario, ScenarioPackage } from './scenario.ts'

async function drop(stage: Stage, source: string, name: string): Promise<void> {
  const target = path.join(stage.dataFolder, 'intake', name)
  await cp(source, `${target}.part`, { recursive: true })
  await rename(`${target}.part`, target)
}

async function isPublished({ server }: Stage, { job, package: number }: ScenarioPackage): Promise<boolean> {
  const { jobs } = await server.get<{ jobs: readonly { readonly job: string; readonly packages: number[] }[] }>('/jobs')
  return jobs.some((row) => row.job === job && row.packages.includes(number))
}

async function refuse(stage: Stage, source: string, name: string): Promise<readonly { code: string; file?: string }[]> {
  await drop(stage, source, name)
  const refused = path.join(stage.dataFolder, 'refused')
  const findings = await until('the refusal of the spoiled package', async () => {
    const text = await readFile(path.join(refused, `${name}-1`, 'findings.json'), 'utf8').catch(() => undefined)
    return text === undefined ? undefined : (JSON.parse(text) as { findings: { code: string; file?: string }[] })
  })
  stage.output.line(`  refused ${name} with ${findings.findings.length} findings, see ${refused}`)
  return findings.findings
}

async function releaseAll({ server, output }: Stage, published: readonly ScenarioPackage[]): Promise<void> {
  const rows = published.flatMap(({ job, released }) =>
    released.map(({ design, version }) => ({ job, design, version })),
  )
  for (const { job, design, version } of rows) {
    await server.send('POST', `/jobs/${job}/designs/${design}/versions/${version}/release`, {
      by: prepress,
      why: 'approved proof',
    })
  }
  const held = published.reduce((sum, { held }) => sum + held.length, 0)
  output.line(`  released ${rows.length} versions; ${held} stay unreleased`)
}

/**
 * Publishes what a scenario needs and is not published yet, has its spoiled package refused, and releases. Returns the findings of
 * the refusal.
 */
export async function publishAll(
  stage: Stage,
  { packages, spoiled, job }: Scenario,
): Promise<readonly { code: string; file?: string }[]> {
  const fresh: ScenarioPackage[] = []
  for (const delivery of packages) {
    if (await isPublished(stage, delivery)) continue
    fresh.push(delivery)
    await drop(stage, delivery.source, `${delivery.job}-${delivery.package}`)
    const what = `package ${delivery.package} of ${delivery.job}`
    await until(what, async () => ((await isPublished(stage, delivery)) ? true : undefined))
    stage.output.line(`  published ${delivery.job} package ${delivery.package}`)
  }
  const refusal = spoiled ? await refuse(stage, spoiled.source, `${job.job}-spoiled`) : []
  await releaseAll(stage, fresh)
  return refusal
}

/** A disk that rots: one byte of a stored layer flips. */
export async function damageLayer({ server, dataFolder }: Stage, damage: Damage): Promise<void> {
  interface Version {
    readonly version: number
    readonly layers: readonly { readonly layer: string; readonly sha256: string }[]
  }
  const job = await server.get<{ designs: { design: string; versions: Version[] }[] }>(`/jobs/${damage.job}`)
  const versions = job.designs.find((row) => row.design === damage.design)?.versions ?? []
  const layers = versions.find((row) => row.version === damage.version)?.layers ?? []
  const digest = layers.find((row) => row.layer === damage.layer)?.sha256 ?? ''
  const file = path.join(dataFolder, 'blobs', 'sha256', digest.slice(0, 2), digest)
  const bytes = await readFile(file)
  const middle = bytes.length >> 1
  bytes[middle] = (bytes[middle] ?? 0) ^ 1
  await chmod(file, 0o644)
  await writeFile(file, bytes)
}
