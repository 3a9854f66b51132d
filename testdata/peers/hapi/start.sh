#!/usr/bin/env bash
# Starts a HAPI FHIR JPA 8.8 server (R4) on loopback and waits until it answers: start.sh PORT mem|DATADIR
#   PORT     0 takes a free one
#   mem      forgets everything when it stops; DATADIR keeps an H2 database there over a restart
# Prints "BASE_URL PID". Stop it: ../stop.sh PID
set -euo pipefail
[ $# = 2 ] || { sed -n '2,5p' "$0" >&2; exit 2; }
port=$1 data=$2
. "$(dirname "$(readlink -f "$0")")/../lib.sh"
need curl curl

classpath=$(java_build hapi)
if [ "$data" = mem ]; then
  database="jdbc:h2:mem:hapi;DB_CLOSE_DELAY=-1"
  log=$(mktemp "${TMPDIR:-/tmp}/enbloc-hapi.XXXXXX.log")
else
  mkdir -p "$data"
  data=$(readlink -f "$data")
  # H2 writes half a second late by default; a real database has an answered commit on disk.
  database="jdbc:h2:file:$data/hapi;WRITE_DELAY=0"
  log=$data/hapi.log
fi
: >"$log"

# The quick compiler alone: it halves the start, and a test server ends before the thorough one would pay.
setsid java -Xmx1500m -XX:+UseSerialGC -XX:TieredStopAtLevel=1 -cp "$classpath" peers.hapi.HapiServer "$port" "$database" \
  >"$log" 2>&1 </dev/null &
pid=$!
base=$(wait_listening $pid "$log" 300)
wait_for $pid "$log" "$base/metadata" 120
say "ready after $SECONDS s, log $log"
echo "$base $pid"
