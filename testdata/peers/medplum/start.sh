#!/usr/bin/env bash
# Starts Medplum's FHIR router over its in-memory repository on loopback: start.sh PORT
#   PORT  0 takes a free one
# Lenient and not atomic: a transaction may answer 200 around failed entries, and decimals lose their digits.
# Prints "BASE_URL PID". Stop it: ../stop.sh PID
set -euo pipefail
[ $# = 1 ] || { sed -n '2,5p' "$0" >&2; exit 2; }
port=$1
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
need curl curl
need node nodejs
need npm npm

dir=$PEERS_CACHE/medplum-$(fingerprint "$here/package.json" "$here/package-lock.json" "$here/server.mjs")
install() {
  rm -rf "$dir" && mkdir -p "$dir" && cp "$here"/package*.json "$here/server.mjs" "$dir/" &&
    retry npm --prefix "$dir" ci --ignore-scripts --no-audit --no-fund --loglevel=error >&2 </dev/null &&
    touch "$dir/installed"
}
(flock 9; [ -e "$dir/installed" ] || install) 9>"$PEERS_CACHE/medplum.lock" || die "npm could not install it"

log=$(mktemp "${TMPDIR:-/tmp}/enbloc-medplum.XXXXXX.log")
(cd "$dir" && exec setsid node server.mjs "$port" >"$log" 2>&1 </dev/null) &
pid=$!
base=$(wait_listening $pid "$log" 60)
wait_for $pid "$log" "$base/metadata" 10
say "ready after $SECONDS s, log $log"
echo "$base $pid"
