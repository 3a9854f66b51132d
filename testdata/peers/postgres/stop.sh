#!/usr/bin/env bash
# Stops the PostgreSQL that start.sh DIR started: stop.sh DIR [--kill|--remove]
#   --kill    at once, as if the machine had lost power
#   --remove  and deletes DIR with all its data
set -euo pipefail
[ $# -ge 1 ] || { sed -n '2,4p' "$0" >&2; exit 2; }
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
. "$here/common.sh"
dir=$(readlink -f "$1") mode=fast
[ -f "$dir/data/PG_VERSION" ] || die "$dir was not made by start.sh"
[ "${2:-}" != --kill ] || mode=immediate
bin=$(find_postgres) || die "no pg_ctl on this machine"
if [ -f "$dir/data/postmaster.pid" ]; then
  as_owner "$dir" "$bin/pg_ctl" -D "$dir/data" -m $mode -w -t 60 stop >&2
fi
[ "${2:-}" != --remove ] || rm -rf "$dir"
