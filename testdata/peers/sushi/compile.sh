#!/usr/bin/env bash
# Compiles our FHIR profiles (schemas/fhir/fsh, FHIR Shorthand) with SUSHI into schemas/fhir/package: compile.sh [--check]
#   --check  writes nothing: fails when the committed files are not, byte for byte, what the sources give
# Works offline once the compiler is in the cache: the R4 definitions that it reads come from the same npm installation.
set -euo pipefail
[ $# = 0 ] || [ "$*" = --check ] || { sed -n '2,4p' "$0" >&2; exit 2; }
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
need node nodejs
need npm npm
source=$(readlink -f "$here/../../../schemas/fhir")

dir=$PEERS_CACHE/sushi-$(fingerprint "$here/package.json" "$here/package-lock.json" "$here/cache.mjs")
install() {
  rm -rf "$dir" && mkdir -p "$dir" && cp "$here"/package*.json "$here/cache.mjs" "$dir/" &&
    retry npm --prefix "$dir" ci --ignore-scripts --no-audit --no-fund --loglevel=error >&2 </dev/null &&
    (cd "$dir" && node cache.mjs "$dir/home") && touch "$dir/installed"
}
(flock 9; [ -e "$dir/installed" ] || install) 9>"$PEERS_CACHE/sushi.lock" || die "npm could not install it"

work=$(mktemp -d "${TMPDIR:-/tmp}/enbloc-sushi.XXXXXX")
trap 'rm -rf "$work"' EXIT
mkdir "$work/input"
cp -r "$source/fsh" "$work/input/fsh"
cp "$source/sushi-config.yaml" "$work/"

# The registry that nobody answers for keeps the compiler from fetching packages that no profile here needs, whose
# newest version would change under us.
HOME=$dir/home npm_config_offline=true FPL_REGISTRY=http://127.0.0.1:9 \
  node "$dir/node_modules/fsh-sushi/dist/app.js" build "$work" --log-level warn >"$work/log" 2>&1 </dev/null || { cat "$work/log" >&2; die "SUSHI found errors"; }
grep -E '^warn ' "$work/log" | grep -vE 'FSHOnly property|Failed to load automatically-provided' >&2 && die "SUSHI warns"

made=$work/fsh-generated/resources
[ "$(find "$made" -name '*.json' | wc -l)" -gt 0 ] || die "SUSHI wrote nothing"
if [ $# = 1 ]; then
  diff -r "$made" "$source/package" >&2 || die "schemas/fhir/package is not what schemas/fhir/fsh gives: run $0 and commit"
else
  rm -f "$source"/package/*.json && cp "$made"/*.json "$source/package/"
fi
say "$(find "$made" -name '*.json' | wc -l) definitions, $SECONDS s"
