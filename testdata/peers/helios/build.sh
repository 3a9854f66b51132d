#!/usr/bin/env bash
# Builds the Helios FHIR Server 0.2.7 (Rust, MIT) from crates.io into the cache: build.sh
# Once, 7 to 13 minutes on two cores; without optimisation, which would take twice as long or more. Prints the program's path.
set -euo pipefail
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
version=0.2.7
root=$PEERS_CACHE/helios-$version
program=$root/bin/hfs

build() {
  need cargo cargo
  need cc gcc libc6-dev
  need pkg-config pkg-config
  pkg-config --exists openssl || apt_install libssl-dev
  say "building $version, log $root/build.log (7 to 13 minutes)"
  mkdir -p "$root"
  # nice: two cores, and whoever started this has work of their own
  CARGO_PROFILE_RELEASE_OPT_LEVEL=0 CARGO_PROFILE_RELEASE_LTO=off CARGO_PROFILE_RELEASE_DEBUG=0 \
    CARGO_PROFILE_RELEASE_STRIP=symbols CARGO_PROFILE_RELEASE_CODEGEN_UNITS=16 CARGO_INCREMENTAL=0 \
    nice -n 19 cargo install helios-hfs --version "$version" --locked --no-default-features --features R4,sqlite \
    --root "$root" --target-dir "$root/target" >"$root/build.log" 2>&1 </dev/null ||
    { tail -n 30 "$root/build.log" >&2; return 1; }
  rm -rf "$root/target" # two gigabytes that nothing needs once the program is there
}

(flock 9; [ -x "$program" ] || build) 9>"$PEERS_CACHE/helios.lock" || die "the build did not work"
echo "$program"
