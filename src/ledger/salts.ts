// Salts of entries: 16 random bytes each, drawn by the page, for one call into the system's generator takes longer than hashing
// an entry.
import { assert } from '../kernel/assert.ts'
import type { RandomBytes } from '../kernel/clock.ts'

const saltBytes = 16
const pageBytes = 256 * saltBytes

/** Each call gives the next salt as 32 hex digits. */
export function saltSource(random: RandomBytes): () => string {
  let page = Buffer.alloc(0)
  let at = 0
  return () => {
    if (at === page.length) {
      page = Buffer.from(random(pageBytes))
      assert(page.length === pageBytes, 'the random source gives as many bytes as asked')
      at = 0
    }
    at += saltBytes
    return page.toString('hex', at - saltBytes, at)
  }
}
