#!/usr/bin/env bash
# How many lines of the two parsers the fuzzers' seeds reach: tests/fuzz/coverage.sh [FOLDER OF A GROWN CORPUS]
# Seeds are all fixtures and tests/fuzz/*_seeds; a grown corpus holds the folders shot and svg. Fails below 90 %.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
grown=${1:-}
build=build/coverage
cmake --preset fuzz -B $build -DPW_SANITIZE=OFF -DCMAKE_CXX_FLAGS="-fprofile-instr-generate -fcoverage-mapping" >/dev/null
cmake --build $build --target fuzz_shot fuzz_svg

seeds=$(mktemp -d)
trap 'rm -rf "$seeds"' EXIT
mkdir "$seeds/shot" "$seeds/svg"
cp fixtures/*.toml tests/fuzz/shot_seeds/* "$seeds/shot"
find fixtures -name '*.svg' -exec sh -c 'cp "$1" "$2/$(basename "$(dirname "$1")")_$(basename "$1")"' _ {} "$seeds/svg" \;
cp tests/fuzz/svg_seeds/* "$seeds/svg"

status=0
reached() { # NAME SOURCES...
  local name=$1 lines
  shift
  LLVM_PROFILE_FILE=$build/$name.raw "$build/tests/fuzz/fuzz_$name" -runs=0 "$seeds/$name" ${grown:+"$grown/$name"} 2>"$build/$name.log" ||
    { tail -5 "$build/$name.log" >&2; exit 1; }
  llvm-profdata merge "$build/$name.raw" -o "$build/$name.profile"
  llvm-cov report "$build/tests/fuzz/fuzz_$name" -instr-profile="$build/$name.profile" "$@" |
    awk '/\.cpp/ || /^TOTAL/ {printf "%-40s %5d lines, %4d not reached, %s\n", $1, $8, $9, $10}'
  lines=$(llvm-cov report "$build/tests/fuzz/fuzz_$name" -instr-profile="$build/$name.profile" "$@" | awk '/^TOTAL/ {print $10 + 0}')
  awk -v l="$lines" -v n="$name" 'BEGIN { if (l < 90) { print n ": " l " % of the lines, less than 90"; exit 1 } }' || status=1
}
reached shot comp/graph/{shot_text,toml_hazard,read_value,check,shot_table,file_clash}.cpp
reached svg comp/matte/svg_{read,element,path,place,pick,safety}.cpp
exit $status
