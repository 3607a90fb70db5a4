// The verifier must stand apart from the code that writes, and run where there is no Node.
import { readFile } from 'node:fs/promises'
import { join, relative, resolve } from 'node:path'
import { expect, it } from 'vitest'

const folder = import.meta.dirname
const root = resolve(folder, '../../..')
const importPattern =
  /^(?:import|export)\s(?!type\s)[^'"]*?from\s+'([^']+)'|^import\s+'([^']+)'|\bimport\(([^)]+)\)|\brequire\(([^)]+)\)/gm

/** All modules that run when this one is loaded; packages and Node's own by their names. */
async function loadedBy(path: string, seen = new Set<string>()): Promise<ReadonlySet<string>> {
  seen.add(relative(root, path))
  const text = await readFile(path, 'utf8')
  for (const [, ...specifiers] of text.matchAll(importPattern)) {
    const specifier = specifiers.find(Boolean) ?? ''
    const target = specifier.startsWith('.') ? resolve(path, '..', specifier) : undefined
    if (target === undefined) seen.add(specifier)
    else if (!seen.has(relative(root, target))) await loadedBy(target, seen)
  }
  return seen
}

it('loads the tree arithmetic and the kernel’s words, nothing of the writer and no library', async () => {
  const loaded = await loadedBy(join(folder, 'verify.ts'))
  const others = [...loaded].filter((path) => !path.startsWith('src/ledger/verify/'))
  expect(others.toSorted()).toEqual([
    'src/kernel/assert.ts',
    'src/kernel/limits.ts',
    'src/kernel/problem.ts',
    'src/kernel/terms.ts',
    'src/ledger/merkle.ts',
  ])
  expect(loaded.size).toBeGreaterThan(10)
})

it('names nothing that only Node has', async () => {
  for (const path of await loadedBy(join(folder, 'verify.ts'))) {
    expect(await readFile(join(root, path), 'utf8'), path).not.toMatch(/\bBuffer\b|\bprocess\.|\bnode:/)
  }
})
