// One roll of the demo, from the ticket to the sealed ledger: what finishing lead and line controller do.
import { readFile } from 'node:fs/promises'
import { setTimeout as pause } from 'node:timers/promises'
import type { Answer, Cause } from '../src/runs/index.ts'
import { lead, prepress, type Stage } from './demo-stage.ts'
import type { ScenarioFrame } from './roll.ts'
import type { Scenario } from './scenario.ts'

export interface RunView {
  readonly runId: string
  readonly state: string
  readonly pending: number
  readonly lanes: readonly number[]
  readonly counts: {
    readonly frames: number
    readonly labels: number
    readonly lay: number
    readonly skip: number
    readonly stop: number
  }
  readonly causes: readonly {
    readonly cause: Cause
    readonly status: string
    readonly frame?: number
    readonly cell?: number
  }[]
}

/** Pictures under way at most: far fewer frames than lie between the sensor and the head. */
const pendingMax = 6

interface ReadinessRow {
  readonly code: string
  readonly message: string
  readonly mend?: string
  readonly job?: string
  readonly design?: string
  readonly layer?: string
}

interface Readiness {
  readonly ready: boolean
  readonly blockers: readonly ReadinessRow[]
  readonly warnings: readonly ReadinessRow[]
}

/** A roll on the line. */
export interface Rolling extends Stage {
  readonly scenario: Scenario
  readonly runId: string
  readonly answers: Answer[]
  cursor: number
}

export const at = (rolling: Rolling): string => `/runs/${encodeURIComponent(rolling.runId)}`

interface TicketFile {
  readonly ticket: string
}

// Rows that say the same of several designs in one line.
function rowTexts(rows: readonly ReadinessRow[]): readonly string[] {
  const alike = new Map<string, ReadinessRow[]>()
  for (const row of rows) alike.set(row.code, [...(alike.get(row.code) ?? []), row])
  return [...alike.values()].map(([first, ...more]) => {
    const { code, message, mend, job, design, layer } = first as ReadinessRow
    const where = [job, design, layer].filter(Boolean).join('/')
    const also = more.length > 0 ? ` and ${more.length} more` : ''
    return `${code}: ${where}${also}: ${message}${mend ? `; ${mend}` : ''}`
  })
}

async function weigh({ server, output }: Stage, names: { ticket: string; line: string }): Promise<Readiness> {
  const readiness = await server.get<Readiness>(`/readiness?${new URLSearchParams(names)}`)
  for (const text of rowTexts(readiness.blockers)) output.line(`  blocker ${text}`)
  for (const text of rowTexts(readiness.warnings)) output.line(`  warning ${text}`)
  return readiness
}

/** Stores line and ticket and opens the run; what blocks it is mended where the scenario can, else the lead overrides. */
export async function openTicket(stage: Stage, scenario: Scenario, ticket: TicketFile): Promise<Rolling> {
  const { server, output } = stage
  const line = JSON.parse(await readFile(scenario.files.line, 'utf8')) as { line: string }
  await server.send('PUT', `/lines/${line.line}`, line)
  await server.send('PUT', `/tickets/${ticket.ticket}`, ticket)
  const names = { ticket: ticket.ticket, line: line.line }
  let { ready } = await weigh(stage, names)
  if (!ready && scenario.mended) {
    output.line(`  the lead mends it: ${scenario.mended.how}`)
    const mended = JSON.parse(await readFile(scenario.mended.ticket, 'utf8')) as TicketFile
    await server.send('PUT', `/tickets/${mended.ticket}`, mended)
    ready = (await weigh(stage, names)).ready
  }
  const why = 'few labels of this design are on the roll; they will be made again'
  const override = ready ? {} : { override: true, why }
  const { runId } = await server.send<RunView>('POST', '/runs', { ...names, by: lead, ...override })
  output.line(`  opened run ${runId}${ready ? '' : `; the lead overrides: ${why}`}`)
  return { ...stage, scenario, runId, answers: [], cursor: -1 }
}

/** Opens the run of a scenario's own ticket. */
export const openRun = async (stage: Stage, scenario: Scenario): Promise<Rolling> =>
  openTicket(stage, scenario, JSON.parse(await readFile(scenario.files.ticket, 'utf8')) as TicketFile)

// What a controller does: takes the answers as they come and reports what it laid.
export async function takeAnswers(rolling: Rolling): Promise<void> {
  const page = await rolling.server.get<{ answers: Answer[]; cursor: number }>(
    `${at(rolling)}/answers?after=${rolling.cursor}`,
  )
  rolling.cursor = page.cursor
  rolling.answers.push(...page.answers)
}

/** The run once at most so many pictures are under way. */
export async function settled(rolling: Rolling, most: number): Promise<RunView> {
  for (;;) {
    const view = await rolling.server.get<RunView>(at(rolling))
    if (view.pending <= most) return view
    await pause(3)
  }
}

/** The lead looks at every open stop, and lets the rest of its labels pass without. */
export async function clearStops(rolling: Rolling, view: RunView): Promise<void> {
  for (const { cause, frame, cell } of view.causes.filter((row) => row.status === 'open')) {
    const what = [cause.flag, cause.job, cause.design, cause.print].filter(Boolean).join(' / ')
    rolling.output.progress.done()
    rolling.output.line(
      `  stop: ${what}${frame === undefined ? ' (recalled)' : ` at frame ${frame}, cell ${cell}`}; the lead looks: skip the rest`,
    )
    await rolling.server.send('POST', `${at(rolling)}/clear`, {
      by: lead,
      why: 'looked at the web',
      cause,
      after: 'skip-rest',
    })
  }
}

/** Ends proving after so many set-up frames. */
export async function prove(rolling: Rolling, setupFrames: number): Promise<void> {
  const view = await settled(rolling, 0)
  await rolling.server.send('POST', `${at(rolling)}/prove`, {
    by: lead,
    lanes: view.lanes,
    why: 'compared one label of every lane',
  })
  rolling.output.line(`  proved after ${setupFrames} set-up frames`)
}

async function reportSplice(rolling: Rolling, splice: NonNullable<Scenario['splice']>): Promise<void> {
  await rolling.server.send('POST', `${at(rolling)}/material`, {
    event: 'splice',
    positionMm: splice.positionUm / 1000,
    frames: splice.frames,
    note: 'splice of the printer',
  })
  rolling.output.line(`  splice before frame ${splice.beforeFrame}, ${splice.frames} frames cut out`)
}

async function withdraw(rolling: Rolling, recall: NonNullable<Scenario['withdrawal']>): Promise<void> {
  await settled(rolling, 0)
  const { job, design, version } = recall
  const target = `/jobs/${job}/designs/${design}/versions/${version}/withdraw`
  const result = await rolling.server.send<{ runs: { revoked: number }[] }>('POST', target, {
    by: prepress,
    why: 'allergen line is missing',
  })
  rolling.output.line(`  ${design} version ${version} withdrawn: ${result.runs[0]?.revoked ?? 0} answers revoked`)
}

// What happens between frames: the end of set-up, the splice, the recall.
async function beforeFrame(rolling: Rolling, { frame }: ScenarioFrame): Promise<void> {
  const { setupFrames, splice, withdrawal } = rolling.scenario
  if (frame === setupFrames) await prove(rolling, setupFrames)
  if (frame === splice?.beforeFrame) await reportSplice(rolling, splice)
  if (withdrawal && frame === withdrawal.afterFrame + 1) await withdraw(rolling, withdrawal)
}

/** Reports what was laid: every `lay` that was not revoked. */
export async function report(rolling: Rolling): Promise<void> {
  const laid = rolling.answers.filter((answer) => answer.decision === 'lay')
  const page = await rolling.server.get<{ answers: Answer[] }>(`${at(rolling)}/answers?limit=4096`)
  const revoked = new Set(
    page.answers.filter((answer) => answer.revokedBy !== undefined).map((answer) => answer.ledgerIndex),
  )
  const reports = laid.map(({ frame, cell, ledgerIndex }) => ({
    frame,
    cell,
    laid: revoked.has(ledgerIndex) ? 'none' : 'full',
  }))
  for (let i = 0; i < reports.length; i += 1_000)
    await rolling.server.send('POST', `${at(rolling)}/laid`, reports.slice(i, i + 1_000))
}

/** Runs the roll, capture after capture as `drawn` hands their files over, to the sealed ledger. */
export async function runRoll(rolling: Rolling, drawn: (frame: number) => Promise<string>): Promise<RunView> {
  const { server, output, scenario } = rolling
  await server.send('POST', `${at(rolling)}/proving`, { by: lead })
  for (const frame of scenario.roll) {
    await beforeFrame(rolling, frame)
    const bytes = await readFile(await drawn(frame.frame))
    const target = `${at(rolling)}/captures?frame=${frame.frame}&positionMm=${frame.positionUm / 1000}`
    await server.upload(target, { bytes, mediaType: 'image/jpeg' })
    const view = await settled(rolling, pendingMax)
    if (view.causes.some((row) => row.status === 'open')) await clearStops(rolling, view)
    if (frame.frame % 20 === 0) await takeAnswers(rolling)
    const { lay, skip, stop } = view.counts
    output.progress.show(
      (frame.frame + 1) / scenario.roll.length,
      `frame ${frame.frame}: ${lay} lay, ${skip} skip, ${stop} stop`,
    )
  }
  const view = await settled(rolling, 0)
  await clearStops(rolling, view)
  output.progress.done()
  await takeAnswers(rolling)
  await report(rolling)
  await server.send('POST', `${at(rolling)}/close`, { by: lead })
  for (const event of scenario.wound ?? []) {
    await server.send('POST', `${at(rolling)}/material`, { ...event, by: lead })
    output.line(`  recorded ${event.event}: ${event.note}`)
  }
  return server.send<RunView>('POST', `${at(rolling)}/seal`, { by: lead })
}
