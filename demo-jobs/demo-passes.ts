// The honeys' second pass: rewound, read by plain code readers, split into two finished rolls, and what was planted held against what
// was found.
import { readFile, writeFile } from 'node:fs/promises'
import path from 'node:path'
import type { Answer } from '../src/runs/index.ts'
import { answerText, type Comparison, type ComparisonRow, foundText } from './compare.ts'
import { at, clearStops, openTicket, prove, type Rolling, type RunView, report, settled } from './demo-run.ts'
import { lead, type Stage } from './demo-stage.ts'
import { demoFolder } from './folders.ts'
import { honeysScenario } from './larkmere-honeys/scenario.ts'
import {
  expectedAgain,
  type SecondFrame,
  secondPass,
  setupFramesAgain,
  textSeen,
} from './larkmere-honeys/second-pass.ts'

const ticketFile = path.join(demoFolder, honeysScenario.name, 'ticket-pass-2.json')

/** The finished rolls that the second pass is wound up to: the first ends behind this frame. */
const finished = { first: 'LM2617-R1-A', second: 'LM2617-R1-B', lastFrameOfFirst: 20 } as const

/** From a frame's mark into the gap behind its labels. */
const behindMm = 58

interface Frames {
  readonly answers: readonly Answer[]
}

async function feed(rolling: Rolling, { frame, positionMm, labels }: SecondFrame): Promise<void> {
  const reads = labels.map((label) => ({ cell: label.cell, text: textSeen(label), symbology: ']Q1' }))
  const { answers } = await rolling.server.send<Frames>('POST', `${at(rolling)}/frames`, { frame, positionMm, reads })
  rolling.answers.push(...answers)
}

async function split(rolling: Rolling, roll: string, positionMm: number): Promise<void> {
  await rolling.server.send('POST', `${at(rolling)}/material`, { event: 'split', positionMm, roll, by: lead })
  rolling.output.line(`  finished roll ${roll} ends at ${positionMm} mm`)
}

/** Runs the rewound roll to its sealed ledger, split into two finished rolls. */
export async function runSecondPass(stage: Stage): Promise<{ rolling: Rolling; run: RunView }> {
  const ticket = JSON.parse(await readFile(ticketFile, 'utf8')) as { ticket: string }
  const rolling = await openTicket(stage, honeysScenario, ticket)
  const { server } = stage
  await server.send('POST', `${at(rolling)}/proving`, { by: lead })
  for (const frame of secondPass) {
    if (frame.frame === setupFramesAgain) await prove(rolling, setupFramesAgain)
    await feed(rolling, frame)
    await clearStops(rolling, await settled(rolling, 0))
    if (frame.frame === finished.lastFrameOfFirst) await split(rolling, finished.first, frame.positionMm + behindMm)
  }
  await report(rolling)
  await server.send('POST', `${at(rolling)}/close`, { by: lead })
  await split(rolling, finished.second, (secondPass.at(-1)?.positionMm ?? 0) + behindMm)
  return { rolling, run: await server.send<RunView>('POST', `${at(rolling)}/seal`, { by: lead }) }
}

/** Holds the answers against what each label of the second pass must get. */
export function compareAgain(answers: readonly Answer[]): Comparison {
  const byLabel = new Map(answers.map((answer) => [`${answer.frame}/${answer.cell}`, answer]))
  const rows = new Map<string, ComparisonRow>()
  const differences: string[] = []
  for (const frame of secondPass) {
    for (const label of frame.labels) {
      const wanted = answerText(expectedAgain(frame, label))
      const answer = byLabel.get(`${frame.frame}/${label.cell}`)
      const got = answer ? foundText(answer) : 'no answer'
      const planted = `second pass: ${frame.frame < setupFramesAgain ? 'set-up' : (label.plant ?? 'nothing')}`
      const example = `frame ${frame.frame}, cell ${label.cell}`
      const row = rows.get(planted) ?? { planted, labels: 0, found: 0, example, answer: wanted }
      const found = row.found + (got === wanted && answer?.rotateDeg === 180 ? 1 : 0)
      const said = row.answer.split('; ').includes(wanted) ? row.answer : `${row.answer}; ${wanted}`
      rows.set(planted, { ...row, labels: row.labels + 1, found, answer: said })
      if (got !== wanted) differences.push(`second pass, ${example}: expected ${wanted}, got ${got}`)
      else if (answer?.rotateDeg !== 180) differences.push(`second pass, ${example}: turned by ${answer?.rotateDeg}°`)
    }
  }
  return { rows: [...rows.values()], differences }
}

/** The roll record as PDF, and the pull list of each finished roll. */
export async function keepPaper({ server }: Stage, rolling: Rolling, folder: string): Promise<string> {
  const record = path.join(folder, 'roll-record.pdf')
  await writeFile(record, await server.stream(`${at(rolling)}/report?format=pdf`))
  for (const roll of [finished.first, finished.second]) {
    const list = await server.text(`${at(rolling)}/pull-list?roll=${roll}&format=csv`)
    await writeFile(path.join(folder, `pull-list-${roll}.csv`), list)
  }
  await writeFile(path.join(folder, 'make-good.csv'), await server.text(`${at(rolling)}/make-good?format=csv`))
  return record
}
