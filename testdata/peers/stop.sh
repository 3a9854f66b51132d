#!/usr/bin/env bash
# Stops a server that a start script beside this began: stop.sh PID [--kill]
#   PID     the second word that the start script printed
#   --kill  at once, as if the machine had lost power; otherwise asks first and waits up to 20 s
set -euo pipefail
[ $# -ge 1 ] || { sed -n '2,4p' "$0" >&2; exit 2; }
pid=$1
[[ $pid =~ ^[1-9][0-9]*$ ]] || { echo "stop: \"$pid\" is not a process id" >&2; exit 2; }
if [ "${2:-}" = --kill ]; then kill -KILL "$pid" 2>/dev/null || true; exit; fi
kill -TERM "$pid" 2>/dev/null || exit 0
for _ in $(seq 200); do
  kill -0 "$pid" 2>/dev/null || exit 0
  sleep 0.1
done
kill -KILL "$pid" 2>/dev/null || true
