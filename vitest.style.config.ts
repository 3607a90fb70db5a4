import { defineConfig } from 'vitest/config'

export default defineConfig({ test: { include: ['tests/style/**/*.test.ts'] } })
