#!/usr/bin/env bash
# Has the tables and figures of a seeded cohort judged by others: run.sh [CASES]
#   DuckDB and statsmodels recompute every indicator from the exported Parquet, by SQL written by hand;
#   Frictionless reads the data dictionary and holds every CSV cell against it;
#   HL7's validator reads the Measures and MeasureReports;
#   a second export has to give equal bytes.
set -euo pipefail
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
need python3 python3 python3-venv
cases=${1:-20000}
venv=$PEERS_CACHE/tables-$(fingerprint "$here/requirements.txt")
(
  flock 9
  [ -e "$venv/whole" ] || { rm -rf "$venv" && python3 -m venv "$venv" &&
    retry "$venv/bin/pip" -q install --disable-pip-version-check -r "$here/requirements.txt" >&2 && touch "$venv/whole"; }
) 9>"$PEERS_CACHE/tables.lock" || die "installing the Python packages did not work"
scratch=$(mktemp -d "${TMPDIR:-/tmp}/enbloc-tables.XXXXXX")
trap 'rm -rf "$scratch"' EXIT
cd "$here/../../.."
go build -o "$scratch/cohort" ./testdata/peers/tables/cohort
"$scratch/cohort" "$scratch/first" "$cases"
"$scratch/cohort" "$scratch/second" "$cases"
diff -r "$scratch/first" "$scratch/second"
echo "a second export gives equal bytes: $(find "$scratch/first" -type f | wc -l) files"
"$venv/bin/python" "$here/recompute.py" "$scratch/first"
"$venv/bin/python" "$here/dictionary.py" "$scratch/first"
"$here/../validator/validate.sh" "$scratch/first/fhir" --allow "$here/allowed-warnings.json" >"$scratch/validator.json"
