#!/usr/bin/env bash
# Validates FHIR R4 JSON offline with HL7's own validator: validate.sh DIR_OR_FILE… [--ig DIR]… [--allow FILE]
#   --ig DIR      our CodeSystem, ValueSet and StructureDefinition files: known to the validator, and validated too
#   --allow FILE  accepted warnings, each with its reason (default: allowed-warnings.json beside this script)
# Prints one JSON summary. Exit status: 0 good; 1 errors; 2 wrong use or unusable definitions; 3 no error, but a
# warning that nobody allowed.
set -euo pipefail
[ $# -ge 1 ] || { sed -n '2,6p' "$0" >&2; exit 2; }
here=$(dirname "$(readlink -f "$0")")
. "$here/../lib.sh"
classpath=$(java_build validator)
exec java -Xmx1500m -XX:+UseSerialGC -XX:TieredStopAtLevel=1 -cp "$classpath" \
  peers.validator.Validate --allow "$here/allowed-warnings.json" "$@"
