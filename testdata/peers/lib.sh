# Sourced by the scripts beside it: cache folder, missing tools, cached builds, waiting for a server.
# Every start script prints one line on stdout, "ADDRESS PID", and everything else on stderr.
# shellcheck shell=bash

shopt -s inherit_errexit # a failing step inside $(…) ends the script too

PEERS_CACHE=${ENBLOC_PEERS_CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/enbloc-peers}
mkdir -p "$PEERS_CACHE"

say() { printf '%s: %s\n' "$(basename "$(dirname "$(readlink -f "$0")")")" "$*" >&2; }
die() { say "$*"; exit 1; }

# need COMMAND PACKAGE…: installs the Debian packages when the command is missing.
need() {
  command -v "$1" >/dev/null && return
  [ "$(id -u)" = 0 ] || die "$1 is missing and only root can install it: apt-get install ${*:2}"
  apt_install "${@:2}"
  command -v "$1" >/dev/null || die "$1 is still missing after installing ${*:2}"
}

# apt_install PACKAGE…: one at a time on a machine, never asking anything.
apt_install() {
  say "installing $*"
  (
    flock 8
    apt-get -q update && DEBIAN_FRONTEND=noninteractive apt-get -q install -y --no-install-recommends "$@"
  ) >&2 </dev/null 8>"$PEERS_CACHE/apt.lock"
}

# retry COMMAND…: three tries, because a registry may drop a connection.
retry() {
  local try
  for try in 1 2 3; do
    "$@" && return
    say "try $try of 3 did not work: $1"
    sleep $((try * 5))
  done
  return 1
}

# fingerprint FILE_OR_FOLDER…: names a build by its sources, so that a fresh clone finds an earlier build.
fingerprint() { find "$@" -type f | LC_ALL=C sort | xargs cat | sha256sum | cut -c1-16; }

# free_port: a TCP port on loopback that nobody listens on now.
free_port() {
  local port
  while :; do
    port=$((20000 + RANDOM % 10000))
    (exec 3<>"/dev/tcp/127.0.0.1/$port") 2>/dev/null || { echo "$port"; return; }
  done
}

# java_build NAME: builds the Maven project beside the caller once; prints the class path.
java_build() {
  local name=$1 here dir
  here=$(dirname "$(readlink -f "$0")")
  need javac default-jdk-headless
  need mvn maven
  dir=$PEERS_CACHE/$name-$(fingerprint "$here/pom.xml" "$here/src")
  (
    flock 9
    classpath_whole "$dir/classpath" || java_compile "$name" "$here" "$dir"
  ) 9>"$PEERS_CACHE/$name.lock" || die "the build did not work"
  cat "$dir/classpath"
}

# java_compile NAME SOURCES FOLDER: every step joined by &&, since its caller asks for the outcome.
java_compile() {
  local name=$1 sources=$2 dir=$3
  say "building in $dir (minutes when nothing is cached yet)"
  rm -rf "$dir" && mkdir -p "$dir" && cp -r "$sources/pom.xml" "$sources/src" "$dir/" &&
    retry mvn -q -B -f "$dir/pom.xml" package >&2 </dev/null &&
    printf '%s:%s' "$dir/target/$name.jar" "$(cat "$dir/target/dependencies")" >"$dir/classpath"
}

# classpath_whole FILE: is there a class path, and does each of its jars still exist?
classpath_whole() {
  local jar jars
  [ -s "$1" ] || return 1
  IFS=: read -ra jars <"$1" || [ "${#jars[@]}" -gt 0 ] || return 1
  for jar in "${jars[@]}"; do [ -e "$jar" ] || return 1; done
}

# ended LOG: the server is gone; shows why.
ended() {
  tail -n 30 "$1" >&2
  die "the server ended while starting; its log: $1"
}

# wait_listening PID LOG SECONDS: prints the base URL as soon as the server's log says "LISTENING URL".
wait_listening() {
  local pid=$1 log=$2 end=$((SECONDS + $3)) base
  until base=$(sed -n 's/^LISTENING //p' "$log") && [ -n "$base" ]; do
    kill -0 "$pid" 2>/dev/null || ended "$log"
    [ $SECONDS -lt $end ] || { kill "$pid"; die "not listening within $3 s; log: $log"; }
    sleep 0.2
  done
  echo "$base"
}

# wait_for PID LOG URL SECONDS: until the URL answers.
wait_for() {
  local pid=$1 log=$2 url=$3 end=$((SECONDS + $4))
  until curl -sf -m 30 -o /dev/null "$url"; do
    kill -0 "$pid" 2>/dev/null || ended "$log"
    [ $SECONDS -lt $end ] || { kill "$pid"; die "no answer from $url within $4 s; log: $log"; }
    sleep 0.2
  done
}
