// The resolver over what is published: a ticket's frozen jobs with their rules, and all others outside of it.
import type { FrozenJob } from '../lines/index.ts'
import type { CatalogueStore } from '../packages/index.ts'
import { openResolver, type Resolver } from './resolve.ts'

/** The resolver over a ticket's jobs; all other published ones are outside of it. */
export async function resolverOver(catalogue: CatalogueStore, jobs: readonly FrozenJob[]): Promise<Resolver> {
  const own = new Set(jobs.map((job) => job.job))
  const outside = () => [...catalogue.current().jobs.values()].filter((job) => !own.has(job.job))
  const ruled = await Promise.all(
    jobs.map(async (job) => {
      const designs = [...new Set(job.versions.map((version) => version.design))]
      return { job, rule: await catalogue.ruleOf({ ...job, designs }) }
    }),
  )
  return openResolver(ruled, outside)
}
