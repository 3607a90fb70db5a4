// GS1 Digital Link URIs: any host, any path before the primary key, qualifiers in their order, attributes in the query.
import { type AiEntry, findAi } from './ai-dictionary.ts'
import { type Cut, type CutElement, type Gs1Message, type Refused, refuse } from './message.ts'
import { cutUri, decode, type Span } from './uri.ts'

/**
 * Cuts a Digital Link (GS1 Digital Link Standard: URI Syntax 1.2), uncompressed ones only. The primary key is the rightmost one that a
 * path ends with, qualifiers behind it. Names in place of numbers (`/gtin/…`) were withdrawn and are not read. GTINs of 8, 12 and 13
 * digits are padded to 14. Query parameters whose names are no digits, and the fragment, are not GS1's and are passed over. `from` is
 * where the URI begins in the text.
 */
export function cutDigitalLink(text: string, from: number): Cut {
  const elements: CutElement[] = []
  const message: Gs1Message = { syntax: 'digital-link', text, elements }
  const uri = cutUri(text, from)
  if (!uri.ok) return refuse(message, uri.fault)
  const { path, query } = uri.parts
  const keyed = cutPath(message, path)
  if (!keyed.ok) return keyed
  elements.push(keyed.key, ...keyed.qualifiers)
  return cutQuery(message, { query, key: keyed.key.entry, qualifiers: keyed.qualifiers, elements })
}

interface Keyed {
  readonly ok: true
  readonly key: CutElement
  readonly qualifiers: readonly CutElement[]
}

/** Pairs of AI and value from the right, up to a primary key; each part of the path is looked at once. */
function cutPath(message: Gs1Message, path: Span): Keyed | Refused {
  const { text } = message
  const qualifiers: CutElement[] = []
  let end = path.to
  for (;;) {
    const valueSlash = end > path.from ? text.lastIndexOf('/', end - 1) : -1
    const aiSlash = valueSlash > path.from ? text.lastIndexOf('/', valueSlash - 1) : -1
    const entry = aiSlash < path.from ? undefined : findAi(text.slice(aiSlash + 1, valueSlash))
    if (!entry) return noKey(message, path)
    const pair = toElement(text, { entry, position: aiSlash + 1, from: valueSlash + 1, to: end, inQuery: false })
    if (entry.paths) {
      qualifiers.reverse()
      return fitsInOrder(entry.paths, qualifiers)
        ? { ok: true, key: pair, qualifiers }
        : misplaced(message, pair, qualifiers)
    }
    qualifiers.push(pair)
    end = aiSlash
  }
}

/** Deprecated with version 1.2 of the standard; named so that a person sees why such a link is refused. */
const withdrawnNames = /\/(gtin|itip|gmn|cpid|gln|party|gsrnp?|gcn|sscc|gdti|ginc|gsin|grai|giai)\//

function noKey(message: Gs1Message, { from, to }: Span): Refused {
  const measured = message.text.slice(from, to)
  const withdrawn = withdrawnNames.exec(measured)?.[1]
  const advice = withdrawn === undefined ? '' : `; “${withdrawn}” in place of an AI was withdrawn from the standard`
  const text = `the path does not end with a primary key of GS1, its value and its qualifiers${advice}`
  return refuse(message, { at: from, rule: 'key', message: text, measured, limit: '/AI/value' })
}

interface PairAt extends Span {
  readonly entry: AiEntry
  readonly position: number
  readonly inQuery: boolean
}

const gtinDigits = 14

function toElement(text: string, pair: PairAt): CutElement {
  const { entry, position, from } = pair
  const written = decode(text, pair)
  const isShort = entry.ai === '01' && written.length < gtinDigits && /^(?:[0-9]{8}|[0-9]{12,13})$/.test(written)
  const value = isShort ? written.padStart(gtinDigits, '0') : written
  return { ai: entry.ai, value, position, entry, valueAt: from, padding: value.length - written.length }
}

const hasOrder = (order: readonly string[], qualifiers: readonly CutElement[]): boolean => {
  let from = 0
  for (const { ai } of qualifiers) {
    const at = order.indexOf(ai, from)
    if (at < 0) return false
    from = at + 1
  }
  return true
}

const fitsInOrder = (orders: readonly (readonly string[])[], qualifiers: readonly CutElement[]): boolean =>
  qualifiers.length === 0 || orders.some((order) => hasOrder(order, qualifiers))

/** The elements stay in the message, so that a person sees what was there. */
function misplaced(message: Gs1Message, key: CutElement, qualifiers: readonly CutElement[]): Refused {
  const orders = key.entry.paths ?? []
  const wrong = qualifiers.find((_qualifier, index) => !fitsInOrder(orders, qualifiers.slice(0, index + 1))) ?? key
  const limit = orders.map((order) => order.join(', ')).join(' or ')
  const allowed = limit === '' ? 'takes no qualifiers' : `takes the qualifiers ${limit}, in this order`
  const measured = qualifiers.map(({ ai }) => ai).join(', ')
  return refuse(
    { ...message, elements: [key, ...qualifiers] },
    {
      ai: wrong.ai,
      at: wrong.position,
      rule: 'qualifier',
      message: `the primary key (${key.ai}) ${allowed}, not ${measured}`,
      measured,
      limit: limit === '' ? 'none' : limit,
    },
  )
}

interface QueryCut {
  readonly query: Span
  readonly key: AiEntry
  readonly qualifiers: readonly CutElement[]
  readonly elements: CutElement[]
}

interface Parameter extends Span {
  readonly name: string
  /** Offset of its equals sign, −1 without one. */
  readonly equalsAt: number
}

function cutQuery(message: Gs1Message, cut: QueryCut): Cut {
  const { text } = message
  let from = cut.query.from
  while (from < cut.query.to) {
    let to = from
    let equalsAt = -1
    for (; to < cut.query.to && text[to] !== '&' && text[to] !== ';'; to++) {
      if (equalsAt < 0 && text[to] === '=') equalsAt = to
    }
    const name = equalsAt < 0 ? '' : text.slice(from, equalsAt)
    if (/^[0-9]+$/.test(name)) {
      const refusal = cutParameter(message, { name, from, to, equalsAt }, cut)
      if (refusal) return refusal
    }
    from = to + 1
  }
  return { ok: true, message }
}

function cutParameter(
  message: Gs1Message,
  parameter: Parameter,
  { query, key, qualifiers, elements }: QueryCut,
): Refused | undefined {
  const { name, from, to, equalsAt } = parameter
  const { text } = message
  const entry = findAi(name)
  if (!entry) {
    return refuse(message, {
      at: from,
      rule: 'ai',
      message: `the parameter “${name}” is a number and no AI`,
      measured: name,
      limit: 'an AI of GS1',
    })
  }
  // Version 1.2 parts parameters at semicolons, others take them for part of a value: a link with two readings is not read.
  const semicolon = [from - 1, to].find((at) => at >= query.from && at < query.to && text[at] === ';')
  if (semicolon !== undefined) {
    return refuse(message, {
      ai: name,
      at: semicolon,
      rule: 'delimiter',
      message: 'a semicolon beside a GS1 parameter has two readings; percent-encode it, or write &',
      measured: ';',
      limit: '&',
    })
  }
  const reason = whyNoAttribute({ entry, key, qualifiers })
  if (reason !== undefined)
    return refuse(message, { ai: name, at: from, rule: 'attribute', message: `AI (${name}) ${reason}` })
  elements.push(toElement(text, { entry, position: from, from: equalsAt + 1, to, inQuery: true }))
  return undefined
}

interface AttributeOf {
  readonly entry: AiEntry
  readonly key: AiEntry
  readonly qualifiers: readonly CutElement[]
}

function whyNoAttribute({ entry, key, qualifiers }: AttributeOf): string | undefined {
  if (!entry.attribute) return 'may not stand in the query of a Digital Link'
  const fitsPath = (key.paths ?? []).some(
    (order) => order.includes(entry.ai) && qualifiers.every(({ ai }) => order.includes(ai)),
  )
  return fitsPath ? `is a qualifier of (${key.ai}) and belongs in the path` : undefined
}
