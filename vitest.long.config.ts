import { defineConfig } from 'vitest/config'

export default defineConfig({
  test: {
    include: ['tests/**/*.long.test.ts'],
    globalSetup: ['tests/build-once.ts'],
    testTimeout: 3_600_000,
    hookTimeout: 600_000,
    pool: 'forks',
    fileParallelism: false,
  },
})
