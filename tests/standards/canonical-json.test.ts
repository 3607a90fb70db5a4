// Canonical JSON against the samples in RFC 8785 itself (§3.2.2, §3.2.3; typed from memory, and the general library agrees).
import { describe, expect, it } from 'vitest'
import { canonicalText } from '../../src/kernel/bytes.ts'
import { canonicalEntryText } from '../../src/ledger/canonical.ts'
import { parseLine } from '../../src/ledger/verify/parse-line.ts'

const strings = '"\\u20ac$\\u000F\\u000aA\'\\u0042\\u0022\\u005c\\\\\\"\\/"'
const canonicalString = '"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'

describe('RFC 8785', () => {
  it('§3.2.2: the sample object comes out as printed there', () => {
    const input = `{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": ${strings},
      "literals": [null, true, false]
    }`
    expect(canonicalText(JSON.parse(input))).toBe(
      `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":${canonicalString}}`,
    )
  })

  it('§3.2.2.2: the writer of entries escapes the sample string as printed there', () => {
    expect(canonicalEntryText(JSON.parse(strings))).toBe(canonicalString)
  })

  it('§3.2.2.2: the verifier takes the sample string in its canonical form only', () => {
    expect(parseLine(Buffer.from(canonicalString))).toBe(JSON.parse(strings))
    expect(() => parseLine(Buffer.from(strings))).toThrow('canonical')
  })

  it('§3.2.3: keys are sorted by UTF-16 code units', () => {
    const input = {
      '\u20ac': 'Euro Sign',
      '\r': 'Carriage Return',
      '\ufb33': 'Hebrew Letter Dalet With Dagesh',
      '1': 'One',
      '\ud83d\ude00': 'Emoji: Grinning Face',
      '\u0080': 'Control',
      '\u00f6': 'Latin Small Letter O With Diaeresis',
    }
    const expected =
      '{"\\r":"Carriage Return","1":"One","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis",' +
      '"\u20ac":"Euro Sign","\ud83d\ude00":"Emoji: Grinning Face","\ufb33":"Hebrew Letter Dalet With Dagesh"}'
    expect(canonicalEntryText(input)).toBe(expected)
    expect(canonicalText(input)).toBe(expected)
  })
})
