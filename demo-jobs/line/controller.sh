#!/bin/sh
# An example of a line controller in plain curl. Frame events come in as lines of JSON, one a mark, in the order of the web:
#
#   ./controller.sh http://127.0.0.1:7070 RUN < frames.ndjson        with the key, if any, in ROLLCALL_KEY
#
#   in:  {"frame": 1, "positionMm": 30.02, "reads": [{"cell": 1, "text": "..."}]}
#   out: FRAME CELL lay|skip|stop        as answered, and "FRAME CELL revoked" where a lay was taken back
#
# What is not printed as lay is not laid: silence means skip. A real controller looks at noReturnMm before it lays. No safety function.
set -eu
run="$1/api/v1/runs/$2"
body=$(mktemp)
trap 'rm -f "$body"' EXIT

# Sends a request until something below 500 comes back; sets $status, and leaves the reply in $body. Repeating it is always safe.
call() {
  tries=0
  while :; do
    status=$(curl -sS -m 5 -o "$body" -w '%{http_code}' -H 'content-type: application/json' \
      ${ROLLCALL_KEY:+-H "authorization: Bearer $ROLLCALL_KEY"} "$@") || status=599
    [ "$status" -ge 500 ] || return 0
    tries=$((tries + 1))
    [ "$tries" -lt 20 ] || return 1
    sleep 0.2
  done
}

# One label a line from a reply: "FRAME CELL DECISION" of each answer, "FRAME CELL revoked" of each revocation.
labels() {
  sed 's/{"runId"/\
&/g' "$body" | awk '
    function number(name) { return match($0, "\"" name "\":[0-9]+") ? substr($0, RSTART + length(name) + 3, RLENGTH - length(name) - 3) : "" }
    /"decision":"/ { match($0, /"decision":"[a-z]+/); decision = substr($0, RSTART + 12, RLENGTH - 12) }
    /"decision":"/ { print number("frame"), number("cell"), /"revokedBy":/ ? "skip" : decision; next }
    /"answer":/ { print number("frame"), number("cell"), "revoked" }'
}

cursor=-1
while IFS= read -r event; do
  call "$run/frames" -d "$event" || { echo "no answer, skip: $event" >&2; continue; }
  [ "$status" = 200 ] || { echo "refused: $(cat "$body")" >&2; continue; }
  answered=$(labels)
  [ -z "$answered" ] || echo "$answered"

  # Here the stations would lay, and say what they did: full, part, none or unknown.
  laid=$(echo "$answered" | sed -nE 's/^([0-9]+) ([0-9]+) lay$/{"frame":\1,"cell":\2,"laid":"full"},/p' | tr -d '\n')
  [ -z "$laid" ] || call "$run/laid" -d "[${laid%,}]" || echo "not reported: $laid" >&2

  # What came since: answers to pictures, and revocations. A lay that is revoked before its noReturnMm is not laid.
  while call "$run/answers?after=$cursor" && [ "$status" = 200 ]; do
    labels | grep revoked || :
    next=$(sed -E 's/.*"cursor":(-?[0-9]+).*/\1/' "$body")
    [ "$next" != "$cursor" ] || break
    cursor=$next
  done
done
