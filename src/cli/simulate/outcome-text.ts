// How a simulation ended, for a person.
import { counted } from '../counted.ts'
import { type Difference, differenceKinds, keptMax } from './differences.ts'
import type { Outcome } from './outcome.ts'

const shown = 12

const countsText = (counts: Readonly<Record<string, number>>): string =>
  Object.entries(counts)
    .filter(([, count]) => count > 0)
    .map(([name, count]) => `${count} ${name}`)
    .join(', ')

function differenceText({ kind, frame, cell, place, positionMm, detail }: Difference): string {
  const at = frame === undefined ? `place ${place}` : `frame ${frame}`
  return `  ${kind} at ${at}, cell ${cell}, ${positionMm.toFixed(1)} mm: ${detail}`
}

function shiftText({ shift }: Outcome): readonly string[] {
  if (!shift) return []
  const { frames, firstFrame, lastFrame, labels } = shift
  const [count, where] = [Math.abs(frames), frames > 0 ? 'before' : 'behind']
  const what = count === 1 ? `the frame ${where}` : `the frame ${count} ${where}`
  return [
    `Constant shift by ${counted(count, 'frame')}: from frame ${firstFrame} to ${lastFrame}, ${counted(labels, 'label')} carry the code of ${what}.`,
  ]
}

// What is missed has its reasons in a line of its own, and a shift says what is wrong with the codes: they are listed where nothing worse is.
function gravest({ differences, shift }: Outcome): readonly Difference[] {
  const grave = differences.filter(({ kind }) => kind !== 'missed-lay')
  const worst = shift ? grave.filter(({ kind }) => kind !== 'wrong-code') : grave
  return [worst, grave, differences].find((rows) => rows.length > 0) ?? []
}

function differencesText(outcome: Outcome): readonly string[] {
  const all = gravest(outcome)
  if (all.length === 0) return []
  const kinds = [...new Set(all.map(({ kind }) => kind))].map((kind) => `  ${kind}: ${differenceKinds[kind]}`)
  const more = all.length > shown ? [`  and more: --json has the first ${keptMax} of each kind`] : []
  return ['Differences between truth and ledger:', ...all.slice(0, shown).map(differenceText), ...more, ...kinds]
}

function timesText({ latencyMs, marginMm, seconds }: Outcome): readonly string[] {
  const latency = latencyMs ? [`Latency p50 ${latencyMs.p50} ms, p99 ${latencyMs.p99} ms, max ${latencyMs.max} ms`] : []
  const margin = marginMm
    ? [`margin to the point of no return at least ${marginMm.least} mm, p1 ${marginMm.p01} mm`]
    : []
  return [`${[...latency, ...margin, `took ${seconds.toFixed(1)} s`].join('; ')}.`]
}

/** The outcome in lines; `unmet` is what is otherwise than the scenario says, where it says anything. */
export function outcomeText(outcome: Outcome, unmet: readonly string[] | undefined): string {
  const { labels, decisions } = outcome
  const missed = countsText(outcome.missedBecause)
  const asked = outcome.stops.length > 0 ? [`Stops: ${outcome.stops.join(', ')}.`] : []
  const refused = countsText(outcome.refusals)
  const verdict = `${outcome.wrongLays} wrong, ${outcome.doubleLays} twice, ${outcome.missedLays} missed${missed ? ` (${missed})` : ''}`
  const flags = countsText(outcome.flags as Readonly<Record<string, number>>)
  return [
    `${outcome.title}: run ${outcome.runId}, seed ${outcome.seed}${outcome.ended === 'stop' ? ', ended at a stop' : ''}`,
    `Roll: ${outcome.places} places in ${counted(outcome.frames, 'frame')}, ${labels.all} labels: ${labels.laid} laid, ${labels.planted} with a planted trouble not laid, ${labels.noLayer} with nothing to lay.`,
    `Ledger: ${decisions.lay} lay, ${decisions.skip} skip, ${decisions.stop} stop, ${outcome.revocations} revoked${flags ? ` (${flags})` : ''}.`,
    `Lays: ${verdict}. Answers: ${outcome.lostAnswers} lost, ${outcome.doubledAnswers} doubled, ${outcome.lateAnswers} late. Codes: ${outcome.wrongCodes} wrong.`,
    `Laid reports: ${countsText(outcome.laid) || 'none'}; ${counted(outcome.connections, 'connection')}${refused ? `; refused: ${refused}` : ''}.`,
    ...asked,
    ...timesText(outcome),
    ...shiftText(outcome),
    ...differencesText(outcome),
    ...(unmet === undefined
      ? []
      : unmet.length === 0
        ? ['It ended as the scenario says.']
        : ['Otherwise than the scenario says:', ...unmet.map((text) => `  ${text}`)]),
  ].join('\n')
}
