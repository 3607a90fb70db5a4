// The layers of the house: a module imports only from lower layers, enters another folder by its door, and heavy libraries each
// live in one folder. `npm run check` fails when a rule breaks, and when no module was seen at all (required rule at the end).
const order = [
  ['kernel'],
  ['protocol'],
  ['client', 'storage'],
  ['queue'],
  ['codes', 'tracking', 'ledger', 'people'],
  ['packages'],
  ['lines'],
  ['runs'],
  ['api', 'cli', 'console', 'readers'],
]
const upward = order.flatMap((layer, i) =>
  layer.map((folder) => {
    const forbidden = order.slice(i).flat().filter((other) => other !== folder)
    return {
      name: `layer-${folder}`,
      severity: 'error',
      comment: `${folder} may import from lower layers only`,
      from: { path: `^src/${folder}/`, pathNot: '\\.test\\.ts$' },
      to: { path: `^(src/(${forbidden.join('|')})/|src/(main|app|config)\\.ts|workers/|demo-jobs/)` },
    }
  }),
)
const homes = [
  ['express', 'src/api/'],
  ['better-sqlite3', 'src/storage/'],
  ['zxing-wasm', 'src/codes/'],
  ['chokidar', 'src/(packages|runs)/'],
  ['piscina', 'src/queue/'],
  ['commander', 'src/cli/'],
  ['yauzl', 'src/packages/'],
  ['express-rate-limit', 'src/api/'],
  ['ws', 'src/(api|client)/'],
  ['pdfkit', 'src/runs/'],
].map(([library, home]) => ({
  name: `home-${library}`,
  severity: 'error',
  from: { path: '^(src|workers|demo-jobs)/', pathNot: `^${home}` },
  to: { path: `node_modules/${library}/` },
}))
const doors = {
  name: 'door',
  severity: 'error',
  comment: 'enter another folder through its index.ts or port.ts',
  from: { path: '^(?:src/([^/]+)/|src/[^/]+\\.ts|workers/|demo-jobs/)', pathNot: '\\.test\\.ts$' },
  to: { path: '^src/([^/]+)/', pathNot: ['^src/$1/', '^src/[^/]+/(index|port)\\.ts$', '^src/kernel/'] },
}
module.exports = {
  forbidden: [
    ...upward,
    ...homes,
    doors,
    { name: 'no-cycles', severity: 'error', from: {}, to: { circular: true } },
    {
      name: 'no-orphans',
      severity: 'error',
      from: { orphan: true, path: '^src/', pathNot: '\\.test\\.ts$' },
      to: {},
    },
  ],
  options: {
    doNotFollow: { path: 'node_modules' },
    exclude: { path: '^dist/' },
    parser: 'swc',
    tsPreCompilationDeps: true,
    tsConfig: { fileName: 'tsconfig.json' },
    enhancedResolveOptions: { exportsFields: ['exports'], conditionNames: ['import', 'require', 'node', 'default', 'types'] },
  },
}
