// The server is killed with SIGKILL at random moments of a run. What was answered stays as it was answered; what was not is asked again.
import { rm } from 'node:fs/promises'
import { afterEach, beforeEach, expect, it } from 'vitest'
import type { Answer, FrameEvent } from '../../src/runs/index.ts'
import { randomFrom } from '../drawn-symbols.ts'
import {
  code,
  demand,
  frameOf,
  labelsAnswered,
  ledgerOf,
  proveRun,
  provedRun,
  publishJob,
  verifyAgainst,
} from '../fixtures/live-run.ts'
import { openConnection, type RawReply } from '../fixtures/raw-http.ts'
import { type LiveServer, startServer, temporaryFolder } from '../fixtures/server.ts'
