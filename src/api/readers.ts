// The route of plain code readers and streams of pictures.
import { roles } from '../people/index.ts'
import type { ApiParts } from './parts.ts'
import { maySeeLine } from './people.ts'
import { readersViewSchema } from './readers-view.ts'
import { type Route, route } from './route.ts'

export const readerRoutes = (parts: ApiParts): readonly Route[] => [
  route({
    method: 'get',
    path: '/readers',
    tag: 'line',
    roles,
    summary:
      'Plain code readers and streams of pictures: what came, what was joined, what was late, doubled, missing, stray',
    returns: [{ status: 200, description: 'Readers by port; counters since the start', schema: readersViewSchema }],
    problems: [],
    async handle({ caller }) {
      const { readers, pictureStreams } = parts.readers?.() ?? { readers: [], pictureStreams: [] }
      const mine = ({ line }: { readonly line: string }): boolean => maySeeLine(caller, line)
      return { json: { readers: readers.filter(mine), pictureStreams: pictureStreams.filter(mine) } }
    },
  }),
]
