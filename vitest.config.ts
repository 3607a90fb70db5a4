import { availableParallelism } from 'node:os'
import { defineConfig } from 'vitest/config'

export default defineConfig({
  test: {
    include: ['src/**/*.test.ts', 'tests/{contract,standards,properties,faults,fuzz,browser}/**/*.test.ts'],
    exclude: ['**/*.long.test.ts', 'node_modules/**', 'dist/**'],
    globalSetup: ['tests/build-once.ts'],
    testTimeout: 60_000,
    hookTimeout: 60_000,
    pool: 'forks',
    // Tests that start servers mostly wait, so two cores take two files at once.
    maxWorkers: Math.max(2, availableParallelism() - 1),
  },
})
