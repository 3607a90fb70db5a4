// The least that express can do with a frame event: parse its JSON and send JSON of the size that the real route sends. A program of
// its own; the argument is a file with the replies, by path.
import { readFileSync } from 'node:fs'
import type { AddressInfo } from 'node:net'
import express from 'express'

const replies = JSON.parse(readFileSync(process.argv[2] ?? '', 'utf8')) as Record<string, unknown>

const app = express()
app.disable('x-powered-by')
app.set('etag', false)
app.use(express.json({ limit: '4mb' }))
for (const [path, reply] of Object.entries(replies)) {
  app.post(path, (_request, response) => {
    response.json(reply)
  })
}
app.get('/cpu', (_request, response) => {
  const { user, system } = process.cpuUsage()
  response.json({ cpuMs: (user + system) / 1000 })
})
const server = app.listen(0, '127.0.0.1', () => {
  process.stdout.write(`http://127.0.0.1:${(server.address() as AddressInfo).port}\n`)
})
process.once('SIGTERM', () => process.exit(0))
