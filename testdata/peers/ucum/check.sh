#!/usr/bin/env bash
# Checks every UCUM unit in FHIR JSON with a reader of UCUM that others wrote (@lhncbc/ucum-lhc): check.sh DIR…
# Prints each unit with its count. Exit status: 0 good, 1 when a unit is not UCUM or no quantity was found.
set -euo pipefail
[ $# -ge 1 ] || { sed -n '2,3p' "$0" >&2; exit 2; }
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
need node nodejs
need npm npm

dir=$PEERS_CACHE/ucum-$(fingerprint "$here/package.json" "$here/package-lock.json" "$here/judge.mjs")
install() {
  rm -rf "$dir" && mkdir -p "$dir" && cp "$here"/package*.json "$here/judge.mjs" "$dir/" &&
    retry npm --prefix "$dir" ci --ignore-scripts --no-audit --no-fund --loglevel=error >&2 </dev/null &&
    touch "$dir/installed"
}
(flock 9; [ -e "$dir/installed" ] || install) 9>"$PEERS_CACHE/ucum.lock" || die "npm could not install it"
exec node "$dir/judge.mjs" "$@"
