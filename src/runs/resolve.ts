// From a code's text to the version that is laid: identity, job, design, print version, version, layers (DESIGN §4.5). In memory;
// each (job, design, print version) is worked out once and kept, so a label costs its rule's match and one map look-up.
import { type Rule, symbologyFits } from '../codes/index.ts'
import type { Flag } from '../kernel/terms.ts'
import type { EntryBodies } from '../ledger/index.ts'
import { type FrozenJob, type FrozenVersion, pinOf } from '../lines/index.ts'
import { toUm } from './wire.ts'

export type Identity = NonNullable<EntryBodies['answer']['identity']>
export type LayerBody = EntryBodies['answer']['layers'][number]

/** What a (job, design, print version) leads to before anything that changes during a run is looked at. */
export interface Choice {
  readonly version?: FrozenVersion
  readonly layers: readonly LayerBody[]
  readonly flags: readonly Flag[]
}

export type Resolution =
  | { readonly kind: 'label'; readonly identity: Identity; readonly choice: Choice }
  | { readonly kind: 'other-job'; readonly identity: Identity }
  | { readonly kind: 'unknown' }

/** A published job outside the ticket, for `other-job`. */
export interface OutsideJob {
  readonly job: string
  readonly rule: Rule
  readonly designs: { has(design: string): boolean }
}

export interface Resolver {
  /** `cell` is that of the label in question: a table may name the cell of each code. */
  resolve(text: string, symbology: string | undefined, cell: number): Resolution
}

const layersOf = (version: FrozenVersion): LayerBody[] =>
  version.layers.map((layer) => ({
    digest: layer.sha256,
    layer: layer.layer,
    station: layer.station,
    order: layer.order,
    scope: layer.scope,
    placement: {
      leftUm: toUm(layer.placement.leftMm),
      topUm: toUm(layer.placement.topMm),
      widthUm: toUm(layer.placement.widthMm),
      heightUm: toUm(layer.placement.heightMm),
    },
  }))

// The highest ever-released version that fits decides, unless the ticket pins another; a withdrawn one is never replaced by an older.
function choose(job: FrozenJob, design: string, print: string | undefined): Choice {
  const wantedPrint = print ?? job.printVersion
  const all = job.versions.filter((version) => version.design === design)
  const fits = all.filter((version) => wantedPrint !== undefined && version.printVersions.includes(wantedPrint))
  const newest = fits.filter((version) => version.released).at(-1)
  const pin = pinOf(job, design)
  const version = pin === undefined ? newest : fits.find((candidate) => candidate.version === pin)
  if (!version) return { layers: [], flags: [fits.length > 0 ? 'not-released' : 'print-version-mismatch'] }
  if (!version.released) return { layers: [], flags: ['not-released'], version }
  const flags: Flag[] = version.withdrawn ? ['withdrawn'] : []
  if (newest && newest.version > version.version) flags.push('superseded')
  return { version, layers: layersOf(version), flags }
}

// A design whose every version is unreleased is `not-released`, whatever its print version.
function chooseForDesign(job: FrozenJob, design: string, print: string | undefined): Choice {
  const all = job.versions.filter((version) => version.design === design)
  return all.some((version) => version.released) ? choose(job, design, print) : { layers: [], flags: ['not-released'] }
}

interface OpenJob {
  readonly job: FrozenJob
  readonly rule: Rule
  readonly designs: ReadonlySet<string>
  readonly choices: Map<string, Choice>
}

/**
 * Opens a resolver over a run's frozen jobs with their rules. `outside` gives the other published jobs, newest state at each call.
 * A text that two jobs of the ticket claim names nothing: it is not guessed at.
 */
export function openResolver(
  ruled: readonly { readonly job: FrozenJob; readonly rule: Rule }[],
  outside: () => Iterable<OutsideJob>,
): Resolver {
  const jobs: OpenJob[] = ruled.map(({ job, rule }) => ({
    job,
    rule,
    designs: new Set(job.versions.map((version) => version.design)),
    choices: new Map(),
  }))

  const choiceFor = (open: OpenJob, design: string, print: string | undefined): Choice => {
    const key = `${design}\n${print ?? ''}`
    const known = open.choices.get(key)
    if (known) return known
    const choice = chooseForDesign(open.job, design, print)
    // Print versions come from the web, so the number of keys is bounded here.
    if (open.choices.size < 100_000) open.choices.set(key, choice)
    return choice
  }

  const onTicket = (text: string, symbology: string | undefined, cell: number): Resolution[] => {
    const found: Resolution[] = []
    for (const open of jobs) {
      const named = symbologyFits(open.rule.symbologies, symbology) ? open.rule.match(text, symbology, cell) : undefined
      if (!named || !open.designs.has(named.design)) continue
      const choice = choiceFor(open, named.design, named.print)
      const identity: Identity = { job: open.job.job, text, ...named }
      if (choice.version) identity.version = choice.version.version
      found.push({ kind: 'label', identity, choice })
    }
    return found
  }

  const elsewhere = (text: string, symbology: string | undefined, cell: number): Resolution => {
    for (const { job, rule, designs } of outside()) {
      const named = symbologyFits(rule.symbologies, symbology) ? rule.match(text, symbology, cell) : undefined
      if (named && designs.has(named.design)) return { kind: 'other-job', identity: { job, text, ...named } }
    }
    return { kind: 'unknown' }
  }

  return {
    resolve(text, symbology, cell) {
      const found = onTicket(text, symbology, cell)
      if (found.length === 1 && found[0]) return found[0]
      return found.length > 1 ? { kind: 'unknown' } : elsewhere(text, symbology, cell)
    },
  }
}
