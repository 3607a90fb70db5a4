// Which contents count as text.
import { describe, expect, it } from 'vitest'
import { type Content, toText } from './found-code.ts'

const content = (bytes: readonly number[], more: Partial<Content> = {}): Content => ({
  bytes: Uint8Array.from(bytes),
  text: 'as the library sees it',
  hasECI: false,
  contentType: 'Text',
  sequenceSize: -1,
  readerInit: false,
  ...more,
})

describe('the text of a symbol', () => {
  it('is its bytes as UTF-8, whatever the library makes of them', () => {
    expect(toText(content([0x4a, 0x31, 0xc3, 0xa9]))).toBe('J1é')
  })

  it('keeps control characters and a byte order mark', () => {
    expect(toText(content([0x31, 0x1d, 0x00, 0x32], { contentType: 'GS1' }))).toBe('1\u001d\u00002')
    expect(toText(content([0xef, 0xbb, 0xbf, 0x31]))).toBe('\ufeff1')
  })

  it('follows the character sets that the symbol names', () => {
    expect(toText(content([0xe9], { hasECI: true, text: 'é' }))).toBe('é')
  })

  it.each<[string, Content]>([
    ['bytes that are not UTF-8', content([0xe9, 0xe9])],
    ['half of a surrogate pair in UTF-8', content([0xed, 0xa0, 0x80])],
    ['bytes under an unknown ECI', content([0x31], { hasECI: true, contentType: 'UnknownECI' })],
    ['bytes under the binary ECI', content([0x31], { hasECI: true, contentType: 'Binary' })],
    ['bytes that their own ECI can not hold', content([0xff], { hasECI: true, text: '\ufffd' })],
    ['a part of a sequence of symbols', content([0x31], { sequenceSize: 2 })],
    ['a symbol that programs readers', content([0x31], { readerInit: true })],
    ['nothing', content([])],
  ])('is absent for %s', (_, given) => {
    expect(toText(given)).toBeUndefined()
  })
})
