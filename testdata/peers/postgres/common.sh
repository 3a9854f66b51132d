# Sourced by start.sh and stop.sh: where PostgreSQL is and who may run it.
# shellcheck shell=bash

# find_postgres: prints the folder with initdb and pg_ctl; Debian keeps it off the PATH.
find_postgres() {
  local folder
  for folder in /usr/lib/postgresql/*/bin "$(dirname "$(command -v pg_ctl || echo /nowhere/pg_ctl)")"; do
    [ -x "$folder/initdb" ] && [ -x "$folder/pg_ctl" ] && { echo "$folder"; return; }
  done
  return 1
}

# install_postgres: without the cluster that Debian's package would make and start on port 5432.
install_postgres() {
  [ "$(id -u)" = 0 ] || die "PostgreSQL is missing and only root can install it: apt-get install postgresql"
  apt_install postgresql-common
  sed -i 's/^#*create_main_cluster.*/create_main_cluster = false/' /etc/postgresql-common/createcluster.conf
  apt_install postgresql
}

# as_owner FOLDER COMMAND…: PostgreSQL refuses root, so root hands over to the folder's owner.
as_owner() {
  local folder=$1 owner
  shift
  owner=$(stat -c %U "$folder")
  if [ "$(id -u)" = 0 ]; then
    (cd / && setpriv --reuid="$owner" --regid="$(id -g "$owner")" --clear-groups -- "$@")
  else
    (cd / && "$@")
  fi
}
