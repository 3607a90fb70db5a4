// The routes of keys, as a part of the tests of every route. It comes last: once there is a key, every request needs one.
import { describe, expect, it } from 'vitest'
import { systemRandom } from '../../src/kernel/clock.ts'
import { drawKey, spellKey } from '../../src/people/key-text.ts'
import type { ApiBench } from '../fixtures/api.ts'
import type { Conformance } from '../fixtures/conformance.ts'

export function keySuite(open: () => { readonly bench: ApiBench; readonly api: Conformance }): void {
  describe('keys', () => {
    it('are made with the local key, listed and revoked', async () => {
      const { bench, api } = open()
      await api.refused('unauthorized', 'GET /keys')
      const local = spellKey(drawKey(systemRandom))
      bench.parts.keys.admitLocal(local)
      const headers = { authorization: `Bearer ${local}` }
      const body = { role: 'line', line: 'L7', person: 'F. Lead' }
      const { record, key } = (await api.ok(201, 'POST /keys', {}, { body, headers })).json
      expect(record).toMatchObject({ ...body, state: 'active', createdBy: 'key local' })
      await api.refused('forbidden', 'GET /keys', {}, { headers: { authorization: `Bearer ${key}` } })
      expect((await api.ok(200, 'GET /keys', {}, { headers })).json.keys).toEqual([record])
      const { json } = await api.ok(200, 'DELETE /keys/:id', { id: record.id }, { headers })
      expect(json).toEqual({ outcome: 'revoked' })
      await api.refused('key-not-found', 'DELETE /keys/:id', { id: 'none' }, { headers })
      await api.refused('bad-request', 'POST /keys', {}, { body: { role: 'boss' }, headers })
    })
  })
}
