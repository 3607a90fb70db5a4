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

interface Readiness {
  readonly ready: boolean
  readonly blockers: readonly { code: string; job?: string; design?: string; layer?: string; message: string }[]
  readonly warnings: readonly { code: string; design?: string; message: string }[]
}

/** A roll on the line. */
export interface Rolling extends Stage {
  readonly scenario: Scenario
  readonly runId: string
  readonly answers: Answer[]
  cursor: number
}

export const at = (rolling: Rolling): string => `/runs/${encodeURIComponent(rolling.runId)}`

/** Stores line and ticket and opens the run; where something blocks it, the lead overrides. */
export async function openRun(stage: Stage, scenario: Scenario): Promise<Rolling> {
  const { server, output } = stage
  const line = JSON.parse(await readFile(scenario.files.line, 'utf8')) as { line: string }
  const ticket = JSON.parse(await readFile(scenario.files.ticket, 'utf8')) as { ticket: string }
  await server.send('PUT', `/lines/${line.line}`, line)
  await server.send('PUT', `/tickets/${ticket.ticket}`, ticket)
  const names = { ticket: ticket.ticket, line: line.line }
  const { ready, blockers, warnings } = await server.get<Readiness>(`/readiness?${new URLSearchParams(names)}`)
  for (const row of blockers)
    output.line(`  blocker ${row.code}: ${row.job}/${row.design}/${row.layer}: ${row.message}`)
  for (const row of warnings) output.line(`  warning ${row.code}: ${row.design}: ${row.message}`)
  const why = 'few labels of this design are on the roll; they will be made again'
  const override = ready ? {} : { override: true, why }
  const { runId } = await server.send<RunView>('POST', '/runs', { ...names, by: lead, ...override })
  output.line(`  opened run ${runId}${ready ? '' : `; the lead overrides: ${why}`}`)
  return { ...stage, scenario, runId, answers: [], cursor: -1 }
}

// What a controller does: takes the answers as they come and reports what it laid.
async function takeAnswers(rolling: Rolling): Promise<void> {
  const page = await rolling.server.get<{ answers: Answer[]; cursor: number }>(
    `${at(rolling)}/answers?after=${rolling.cursor}`,
  )
  rolling.cursor = page.cursor
  rolling.answers.push(...page.answers)
}

async function settled(rolling: Rolling, most: number): Promise<RunView> {
  for (;;) {
    const view = await rolling.server.get<RunView>(at(rolling))
    if (view.pending <= most) return view
    await pause(3)
  }
}

async function clearStops(rolling: Rolling, view: RunView): Promise<void> {
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

async function prove(rolling: Rolling): Promise<void> {
  const view = await settled(rolling, 0)
  await rolling.server.send('POST', `${at(rolling)}/prove`, {
    by: lead,
    lanes: view.lanes,
    why: 'compared one label of every lane',
  })
  rolling.output.line(`  proved after ${rolling.scenario.setupFrames} set-up frames`)
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
  if (frame === setupFrames) await prove(rolling)
  if (frame === splice?.beforeFrame) await reportSplice(rolling, splice)
  if (withdrawal && frame === withdrawal.afterFrame + 1) await withdraw(rolling, withdrawal)
}

async function report(rolling: Rolling): Promise<void> {
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
  return server.send<RunView>('POST', `${at(rolling)}/seal`, { by: lead })
}
