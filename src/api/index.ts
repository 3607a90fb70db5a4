// The HTTP interface: guards, routes, health, metrics, the API page.
import express, { type Express } from 'express'
import helmet from 'helmet'
import { Problem, problemTable } from '../kernel/problem.ts'
import { roles } from '../people/index.ts'
import { mountAsyncApi } from './asyncapi.ts'
import { type Gate, openGate } from './callers.ts'
import { codeRoutes } from './codes.ts'
import { dayOrderRoutes } from './day-order.ts'
import { refuseForeign } from './guards.ts'
import { keyRoutes } from './keys.ts'
import { layerRoutes } from './layers.ts'
import { refuseOffers } from './line-socket.ts'
import { lineSocketRoutes } from './line-socket-route.ts'
import { lineRoutes } from './lines.ts'
import { mountRoutes, prefix, problemMapper } from './mount.ts'
import { mountApiPage, openApiDocument } from './openapi.ts'
import { orientationRoutes } from './orientation.ts'
import { packageRoutes } from './packages.ts'
import type { ApiParts } from './parts.ts'
import { readerRoutes } from './readers.ts'
import { readinessRoutes } from './readiness.ts'
import { rollRoutes } from './rolls.ts'
import type { Route } from './route.ts'
import { runRoutes } from './runs.ts'
import { sequenceRoutes } from './sequences.ts'
import { sumsRoutes } from './sums.ts'
import { workRoutes } from './work.ts'

export { attachLineSockets, type LineSockets } from './line-socket.ts'
export { type Metrics, openMetrics } from './metrics.ts'
export { clearUploads } from './packages.ts'
export type { ApiParts } from './parts.ts'

/** Every route below the prefix, as data. */
export const allRoutes = (parts: ApiParts): readonly Route[] => [
  ...packageRoutes(parts),
  ...lineRoutes(parts),
  ...sequenceRoutes(parts),
  ...readinessRoutes(parts),
  ...orientationRoutes(parts),
  ...dayOrderRoutes(parts),
  ...sumsRoutes(parts),
  ...runRoutes(parts),
  ...lineSocketRoutes(parts),
  ...readerRoutes(parts),
  ...rollRoutes(parts),
  ...layerRoutes(parts),
  ...codeRoutes(parts),
  ...workRoutes(parts),
  ...keyRoutes(parts),
]

function mountHealth(app: Express, parts: ApiParts, gate: Gate): void {
  app.get('/healthz', (_request, response) => {
    response.json({ alive: true, version: parts.version })
  })
  app.get('/readyz', (_request, response) => {
    const ready = parts.ready()
    response.status(ready ? 200 : 503).json({ ready })
  })
  app.get('/metrics', async (request, response) => {
    await gate.admit({ roles }, { request, response })
    response.type(parts.metrics.registry.contentType).send(await parts.metrics.registry.metrics())
  })
  app.get(`${prefix}/problems/:code`, (request, response) => {
    const { code } = request.params
    if (!Object.hasOwn(problemTable, code)) throw new Problem('not-found', `no problem has the code ${code}`)
    response.json({ code, ...problemTable[code as keyof typeof problemTable] })
  })
}

/** The express application over its parts; the caller listens. */
export function createApi(parts: ApiParts): Express {
  const app = express()
  app.disable('x-powered-by')
  app.set('etag', false)
  app.set('query parser', 'simple')
  app.use(refuseForeign(parts.hosts))
  app.use(
    helmet({
      strictTransportSecurity: false,
      contentSecurityPolicy: {
        useDefaults: true,
        // Nothing is loaded from elsewhere, fonts and styles neither.
        directives: {
          upgradeInsecureRequests: null,
          'font-src': ["'self'", 'data:'],
          'style-src': ["'self'", "'unsafe-inline'"],
        },
      },
    }),
  )
  const gate = openGate(parts)
  mountHealth(app, parts, gate)
  const routes = allRoutes(parts)
  mountRoutes(app, routes, { parts, gate })
  mountApiPage(app, openApiDocument(routes, parts.version))
  mountAsyncApi(app, parts.version)
  app.use((request) => {
    throw new Problem('not-found', `there is nothing at ${request.path}`)
  })
  app.use(refuseOffers)
  app.use(problemMapper(parts.log))
  return app
}
