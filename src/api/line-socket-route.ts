// The address of a run's WebSocket as a route, so that it has the guards, keys and roles of every other.
import * as z from 'zod'
import { Problem } from '../kernel/problem.ts'
import { subprotocol } from '../protocol/index.ts'
import { offerOf } from './line-socket-offers.ts'
import type { ApiParts } from './parts.ts'
import { type Route, route } from './route.ts'

export const lineSocketRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/runs/:runId/line',
    tag: 'line',
    roles: ['line', 'admin'],
    summary: 'The WebSocket of a run, for its line controller: see asyncapi.json',
    params: z.object({ runId: z.string().max(200) }),
    returns: [{ status: 101, description: `A WebSocket that speaks ${subprotocol}` }],
    problems: ['upgrade-required', 'run-not-found'],
    async handle({ params, request, response }) {
      const offer = offerOf(request)
      if (!offer) {
        response.setHeader('upgrade', 'websocket')
        throw new Problem('upgrade-required', `this takes a WebSocket with the subprotocol ${subprotocol}`, {
          limit: subprotocol,
        })
      }
      await parts.runs.demandKnown(params.runId)
      offer.accept(params.runId)
      return 'sent'
    },
  }),
]
