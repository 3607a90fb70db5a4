// The routes of layers and codes; cases of the contract of every route.
import { mkdir, writeFile } from 'node:fs/promises'
import path from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Conformance } from '../fixtures/conformance.ts'
import { code, pictureOf } from '../fixtures/live-run.ts'

/** `open` gives, once the tests run, the routes as they are checked and the folder of a package whose job J7 is published. */
export function layersSuite(open: () => { readonly api: Conformance; readonly folder: string }): void {
  describe('layers', () => {
    const digestOf = async (): Promise<string> =>
      (await open().api.ok(200, 'GET /jobs/:job', { job: 'J7' })).json.designs[0].versions[0].layers[0].sha256

    it('are immutable, by their digest', async () => {
      const { api } = open()
      const digest = await digestOf()
      const { headers } = await api.ok(200, 'GET /layers/:digest', { digest })
      expect(headers.get('etag')).toBe(`"${digest}"`)
      expect(headers.get('cache-control')).toBe('private, max-age=31536000, immutable')
      expect(headers.get('accept-ranges')).toBe('bytes')
    })

    it('are not sent to whom has them, nor more of them than asked for', async () => {
      const { api } = open()
      const digest = await digestOf()
      const get = 'GET /layers/:digest'
      await api.ok(304, get, { digest }, { headers: { 'if-none-match': `"${digest}"` } })
      await api.ok(200, get, { digest }, { headers: { 'if-none-match': '"other"' } })
      const part = await api.ok(206, get, { digest }, { headers: { range: 'bytes=1-3' } })
      expect(part.text).toBe('PNG')
      expect(part.headers.get('content-range')).toMatch(/^bytes 1-3\/\d+$/)
      await api.refused('range-not-satisfiable', get, { digest }, { headers: { range: 'bytes=99999999-' } })
      await api.refused('blob-not-found', get, { digest: '0'.repeat(64) })
      await api.refused('bad-request', get, { digest: digest.toUpperCase() })
    })
  })

  describe('codes', () => {
    it('are read from a picture on the server', async () => {
      const { api, folder } = open()
      const file = path.join(folder, '..', 'pictures', 'web.png')
      await mkdir(path.dirname(file))
      await writeFile(file, await pictureOf([code('LIME', 1), null]))
      const { json } = await api.ok(200, 'POST /codes/read', {}, { body: { path: file } })
      expect(json.codes).toMatchObject([{ text: code('LIME', 1), identifier: ']Q1' }])
      await api.refused('bad-request', 'POST /codes/read', {}, { body: { path: 'web.png' } })
      await api.refused('not-found', 'POST /codes/read', {}, { body: { path: '/none.png' } })
      await writeFile(file, 'no picture')
      await api.refused('picture-unreadable', 'POST /codes/read', {}, { body: { path: file } })
    })

    it('are explained by the jobs that take them', async () => {
      const { api } = open()
      const explain = (text: string) => api.ok(200, 'GET /codes/explain', {}, { query: { text } })
      expect((await explain(code('LIME', 1))).json.matches).toMatchObject([{ job: 'J7', design: 'LIME', known: true }])
      expect((await explain('nothing of ours')).json).toEqual({ matches: [] })
    })
  })
}
