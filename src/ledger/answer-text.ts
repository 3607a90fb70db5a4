// The canonical text of an answer's body, key by key: nearly every entry is an answer, and naming the keys in their order takes a
// third of the time of sorting them. A test derives bodies from the schema and compares every byte with the general way.
import { canonicalEntryText, integer, listOf, quoted } from './canonical.ts'
import type { EntryBodies } from './entries.ts'

type Answer = EntryBodies['answer']
type Layer = Answer['layers'][number]
type Identity = NonNullable<Answer['identity']>

export function answerText(body: Answer): string {
  const { cause, identity, setup } = body
  return (
    `{${cause === undefined ? '' : `"cause":${canonicalEntryText(cause)},`}"cell":${integer(body.cell)},"decision":${quoted(body.decision)},"flags":${listOf(body.flags, quoted)}` +
    `,"frame":${integer(body.frame)}${identity === undefined ? '' : `,"identity":${identityText(identity)}`}` +
    `,"layers":${listOf(body.layers, layerText)},"noReturnUm":${integer(body.noReturnUm)}` +
    `,"place":${integer(body.place)},"rotateDeg":${integer(body.rotateDeg)}` +
    `${setup === undefined ? '' : `,"setup":${integer(setup)}`}}`
  )
}

function identityText(identity: Identity): string {
  const { print, serial, version } = identity
  return (
    `{"design":${quoted(identity.design)},"job":${quoted(identity.job)}` +
    `${print === undefined ? '' : `,"print":${quoted(print)}`}${serial === undefined ? '' : `,"serial":${quoted(serial)}`}` +
    `,"text":${quoted(identity.text)}${version === undefined ? '' : `,"version":${integer(version)}`}}`
  )
}

function layerText(layer: Layer): string {
  const { placement } = layer
  return (
    `{"digest":${quoted(layer.digest)},"layer":${quoted(layer.layer)},"order":${integer(layer.order)}` +
    `,"placement":{"heightUm":${integer(placement.heightUm)},"leftUm":${integer(placement.leftUm)}` +
    `,"topUm":${integer(placement.topUm)},"widthUm":${integer(placement.widthUm)}}` +
    `,"scope":${quoted(layer.scope)},"station":${quoted(layer.station)}}`
  )
}
