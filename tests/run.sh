#!/usr/bin/env bash
# Installs, builds, passes all tests, prints the bars. tests/run.sh [--no-install]
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
[ "${1:-}" = --no-install ] || apps/install.sh
export CMAKE_COLOR_DIAGNOSTICS=OFF
started=$(date +%s)
cmake --preset release >/dev/null
cmake --build --preset release
built=$(date +%s)
echo "built in $((built - started)) s"
rm -rf build/release/bars
status=0
ctest --preset release -j "$(nproc)" || status=$?
echo "tests took $(($(date +%s) - built)) s"
python3 tests/bars/report.py build/release/bars tests/bars.toml || status=1
echo
began=$(date +%s)
tests/bench/run.sh build/release build/release/drawn/harbour || echo "the benchmarks could not be run"
echo "benchmarks took $(($(date +%s) - began)) s"
exit $status
