// The client as others get it: from the built package, with types, in Node and in a browser, and nothing of the server in it.
import { execFile } from 'node:child_process'
import { mkdir, readFile, symlink, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { promisify } from 'node:util'
import { describe, expect, it } from 'vitest'
import { root, temporaryFolder } from '../fixtures/server.ts'

const run = promisify(execFile)

/** A folder outside of the package, in which it is installed. */
async function consumer(files: Readonly<Record<string, string>>): Promise<string> {
  const folder = await temporaryFolder('consumer')
  await mkdir(path.join(folder, 'node_modules'))
  await symlink(root, path.join(folder, 'node_modules/rollcall'))
  await writeFile(path.join(folder, 'package.json'), '{"type":"module"}')
  for (const [name, text] of Object.entries(files)) await writeFile(path.join(folder, name), text)
  return folder
}

/** Files that a module imports, and names of packages; those that are only fetched when asked for apart. */
async function importsOf(file: string): Promise<{ loaded: string[]; later: string[] }> {
  const text = await readFile(file, 'utf8')
  const found = (pattern: RegExp): string[] => [...text.matchAll(pattern)].map(([, name]) => name!)
  return {
    loaded: found(/^(?:import|export)\s+(?:[\w*{][^;'"]*?\sfrom\s+)?["']([^"']+)["'];/gm),
    later: found(/\bimport\(["']([^"']+)["']\)/g),
  }
}

async function walk(entry: string): Promise<{ files: Set<string>; packages: Set<string>; later: Set<string> }> {
  const files = new Set([entry])
  const packages = new Set<string>()
  const later = new Set<string>()
  for (const file of files) {
    const imports = await importsOf(file)
    for (const name of imports.loaded) {
      if (name.startsWith('.')) files.add(path.resolve(path.dirname(file), name))
      else packages.add(name)
    }
    for (const name of imports.later) later.add(name)
  }
  return { files, packages, later }
}

describe('rollcall/client', () => {
  it('is imported from the package by its name, and nothing else of it is', async () => {
    const folder = await consumer({
      'use.js': `import { openLine, Problem } from 'rollcall/client'
        const line = openLine({ url: 'http://127.0.0.1:9', runId: 'R', controller: 'c' })
        const code = await line.close().then(() => line.frames({ frame: 0, positionMm: 0, reads: [] })).catch((e) => e instanceof Problem && e.code)
        const other = await import('rollcall/dist/src/main.js').catch((e) => e.code)
        console.log(JSON.stringify([line.connection.state, code, other]))`,
    })
    const { stdout } = await run(process.execPath, ['use.js'], { cwd: folder })
    expect(JSON.parse(stdout)).toEqual(['ended', 'line-closed', 'ERR_PACKAGE_PATH_NOT_EXPORTED'])
  })

  it('has types that a strict program without our settings can use', async () => {
    const folder = await consumer({
      'use.ts': `import { type Answer, openLine } from 'rollcall/client'
        const line = openLine({ url: 'http://127.0.0.1:9', runId: 'R', controller: 'c' })
        line.onDue(({ decision }) => { if (decision !== 'skip') { const answer: Answer = decision; const mm: number = answer.noReturnMm; void mm } })
        // @ts-expect-error a cursor is a number
        const cursor: string = line.cursor
        // @ts-expect-error there is no such word
        void line.laid({ frame: 1, cell: 1, laid: 'maybe' })
        void cursor`,
      'tsconfig.json': JSON.stringify({
        compilerOptions: {
          strict: true,
          target: 'es2022',
          module: 'nodenext',
          noEmit: true,
          types: [],
          lib: ['es2023', 'dom'],
        },
        include: ['use.ts'],
      }),
    })
    const tsc = path.join(root, 'node_modules/.bin/tsc')
    const { stdout } = await run(tsc, ['-p', folder]).catch((error: { stdout: string }) => error)
    expect(stdout).toBe('')
  })

  it('loads protocol and problems, one library, and no server code', async () => {
    const { files, packages, later } = await walk(path.join(root, 'dist/src/client/index.js'))
    const folders = new Set([...files].map((file) => path.relative(path.join(root, 'dist'), path.dirname(file))))
    expect([...folders].toSorted()).toEqual(['src/client', 'src/kernel', 'src/protocol'])
    expect(files.size).toBeGreaterThan(12)
    expect([...packages]).toEqual(['zod'])
    // The library's WebSocket is fetched where there is no other: in Node.
    expect([...later]).toEqual(['ws'])
  })

  it('uses the WebSocket of a browser, with the key as a subprotocol', async () => {
    const entry = path.join(root, 'dist/src/client/index.js')
    const program = `
      const print = console.log
      delete globalThis.process
      globalThis.WebSocket = class { constructor(...given) { print(JSON.stringify(given)) } close() {} send() {} }
      const { openLine } = await import(${JSON.stringify(entry)})
      const line = openLine({ url: 'https://line.example/', runId: 'T 1.1', controller: 'c', key: 'rck-1-2' })
      await new Promise((resolve) => queueMicrotask(resolve))
      line.close()`
    const { stdout } = await run(process.execPath, ['--input-type=module', '-e', program])
    expect(JSON.parse(stdout)).toEqual([
      'wss://line.example/api/v1/runs/T%201.1/line',
      ['rollcall.line.1', 'rollcall.key.rck-1-2'],
    ])
  })
})
