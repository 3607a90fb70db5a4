// A refused drop: moved out of the intake folder, with what is wrong with it beside it, for a person and for a program.
import { mkdtemp, readdir, rename, rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { type Finding, type ProblemDetails, problemTable } from '../kernel/problem.ts'

const nameCharactersMax = 120
const partPrefix = '.refusal-'

// Names and messages come from outside: nothing may reach a terminal but plain text.
const plain = (text: string): string => JSON.stringify(text).slice(1, -1).replaceAll('\\"', '"')

function place({ file, pointer, row, measured, limit }: Finding): string[] {
  const parts = [
    file === undefined ? undefined : `file ${plain(file)}`,
    pointer === undefined ? undefined : `in job.json at ${plain(pointer) || '/'}`,
    row === undefined ? undefined : `line ${row}`,
  ].filter((part) => part !== undefined)
  const sizes = [
    measured === undefined ? undefined : `found ${plain(String(measured))}`,
    limit === undefined ? undefined : `allowed ${plain(String(limit))}`,
  ].filter((part) => part !== undefined)
  return [parts, sizes].filter((list) => list.length > 0).map((list) => `   ${list.join(', ')}`)
}

const listed = (finding: Finding, i: number): string =>
  [
    `${i + 1}. ${finding.code}: ${problemTable[finding.code].title}`,
    `   ${plain(finding.message)}`,
    ...place(finding),
  ].join('\n')

/** The text for a person: what to do, then what is wrong. */
export function refusalText(name: string, problem: ProblemDetails): string {
  const { code, detail, file, pointer, measured, limit } = problem
  const itself = {
    code,
    message: detail,
    ...(file === undefined ? {} : { file }),
    ...(pointer === undefined ? {} : { pointer }),
    ...(measured === undefined ? {} : { measured }),
    ...(limit === undefined ? {} : { limit }),
  }
  const findings = problem.findings ?? [itself]
  return [
    `Not published: ${plain(name)}`,
    '',
    'What to do: mend what is listed here, then put the whole package into the intake folder again.',
    'Nothing of it was published, and nothing else was changed. The package lies beside this file as it came.',
    '',
    plain(detail),
    '',
    ...findings.map(listed),
    '',
  ].join('\n')
}

// `<name>-<n>` with the lowest n that is free.
async function giveNumber(part: string, refused: string, name: string): Promise<string> {
  const base = name.slice(0, nameCharactersMax)
  for (let n = 1; ; n += 1) {
    const target = join(refused, `${base}-${n}`)
    try {
      await rename(part, target)
      return target
    } catch (error) {
      if (!['ENOTEMPTY', 'EEXIST', 'ENOTDIR'].includes(String((error as NodeJS.ErrnoException).code))) throw error
    }
  }
}

// A drop may be called like the files beside it.
const findingsNames: readonly string[] = ['findings.txt', 'findings.json']
const nameBeside = (name: string): string => (findingsNames.includes(name) ? `drop-${name}` : name)

/**
 * Moves a drop to `refused/<name>-<n>/` and returns that folder. Findings are written before the drop is moved in, and the folder gets
 * its name last, so a crash leaves either the drop in the intake folder or a folder that `finishRefusals` completes.
 */
export async function moveToRefused(
  { intake, refused }: { readonly intake: string; readonly refused: string },
  { name, problem }: { readonly name: string; readonly problem: ProblemDetails },
): Promise<string> {
  const part = await mkdtemp(join(refused, partPrefix))
  try {
    await writeFile(join(part, 'findings.txt'), refusalText(name, problem))
    await writeFile(join(part, 'findings.json'), `${JSON.stringify(problem, undefined, 2)}\n`)
    await rename(join(intake, name), join(part, nameBeside(name)))
  } catch (error) {
    await rm(part, { recursive: true, force: true })
    throw error
  }
  return giveNumber(part, refused, name)
}

/** Completes what a crash left half moved. Call before the intake folder is looked at. */
export async function finishRefusals(refused: string): Promise<void> {
  for (const entry of await readdir(refused)) {
    if (!entry.startsWith(partPrefix)) continue
    const part = join(refused, entry)
    const moved = (await readdir(part)).find((name) => !findingsNames.includes(name))
    if (moved === undefined) await rm(part, { recursive: true, force: true })
    else await giveNumber(part, refused, moved)
  }
}
