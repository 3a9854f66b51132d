#!/usr/bin/env bash
# Starts a throw-away PostgreSQL on loopback, database "enbloc", no password: start.sh DIR PORT
#   DIR   absent, empty, or made by this script before; every folder above it must let other users pass
#   PORT  0 takes a free one
# Prints "DSN PID". Stop it: stop.sh DIR. Commits reach the disk (fsync on), as in a hospital.
set -euo pipefail
[ $# = 2 ] || { sed -n '2,5p' "$0" >&2; exit 2; }
dir=$1 port=$2
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
. "$here/common.sh"

bin=$(find_postgres) || { install_postgres; bin=$(find_postgres) || die "no initdb after installing postgresql"; }
[ "$port" != 0 ] || port=$(free_port)
mkdir -p "$dir"
dir=$(readlink -f "$dir")
if [ "$(id -u)" = 0 ] && [ "$(stat -c %U "$dir")" = root ]; then
  id postgres >/dev/null 2>&1 || useradd --system --no-create-home --shell /bin/sh postgres
  chown postgres "$dir"
fi
as_owner "$dir" test -x "$dir" || die "user $(stat -c %U "$dir") can't enter $dir: run chmod a+x on the folders above it"

if [ ! -f "$dir/data/PG_VERSION" ]; then
  as_owner "$dir" "$bin/initdb" -D "$dir/data" -U enbloc -A trust -E UTF8 --locale=C.UTF-8 >&2 ||
    die "initdb did not work"
fi
# No socket: two servers would meet in /tmp, and the folder's path may be too long for one.
as_owner "$dir" "$bin/pg_ctl" -D "$dir/data" -l "$dir/data/server.log" -w -t 60 \
  -o "-c listen_addresses=127.0.0.1 -c port=$port -c unix_socket_directories=''" start >/dev/null </dev/null ||
  { tail -n 20 "$dir/data/server.log" >&2; die "the server did not start"; }

server=(-h 127.0.0.1 -p "$port" -U enbloc)
[ "$("$bin/psql" "${server[@]}" -d postgres -Atc "select 1 from pg_database where datname = 'enbloc'")" = 1 ] ||
  "$bin/createdb" "${server[@]}" enbloc
say "ready after $SECONDS s, log $dir/data/server.log"
echo "postgres://enbloc@127.0.0.1:$port/enbloc?sslmode=disable $(head -n 1 "$dir/data/postmaster.pid")"
