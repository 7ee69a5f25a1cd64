#!/usr/bin/env bash
# Benchmarks beside their references, in one run on this machine; prints ratios, judges nothing. run.sh BUILD [HARBOUR_FOLDER]
set -euo pipefail
root=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
build=$1 harbour=${2:-}
"$build/tests/bench/bench_resample" --benchmark_repetitions=3 --benchmark_report_aggregates_only=false | grep ratio
"$build/tests/bench/bench_over" --benchmark_repetitions=3 | grep ' x the time'
movies=$(mktemp -d)
"$build/tests/bench/bench_movie" "$movies"
rm -rf "$movies"
drawn=$build/drawn/planes
[ -d "$drawn" ] && "$build/tests/bench/bench_trackers" "$drawn" "$build/trackers" --only drift,spin 2>/dev/null
[ -d "$build/drawn/boards" ] && "$build/tests/bench/bench_trackers" "$build/drawn/boards" "$build/trackers_return" --only return 2>/dev/null
# Large pictures, as long as the small ones: a region of 600x450, then what regions of other sizes take (those below
# 200,000 pixels on the whole size, larger ones on half of it).
hd=$build/drawn/hd
"$root/tests/truth/draw.sh" "$build/fixtures/stage/stage" "$hd" planes --size 1920x1080 --only drift,zoom,skew,spin,blur
"$build/tests/bench/bench_trackers" "$hd" "$build/trackers_hd" --box 600x450 --only drift,zoom,skew,spin 2>/dev/null
"$build/tests/bench/bench_trackers" "$hd" "$build/trackers_blur" --box 600x450 --only blur --shutter 270 --alone 2>/dev/null
for box in 150x112 300x225 424x318 600x450 700x525 848x636; do
  printf 'region of %s: ' "$box"
  "$build/tests/bench/bench_trackers" "$hd" "$build/trackers_area" --only drift --box "$box" --alone 2>/dev/null | tail -1
done
if [ -n "$harbour" ] && [ -d "$harbour" ]; then
  harbour=$(cd "$harbour" && pwd)  # A shot's paths start at the shot.
  work=$(mktemp -d)
  trap 'rm -rf "$work"' EXIT
  cp -r "$root/fixtures/harbour.toml" "$root/fixtures/harbour" "$work/"
  first() {
    local start end
    start=$(date +%s.%N)
    "$build/platewright" render "$work/harbour.toml" out --frames 1 --scale 0.5 --set "plate.file=$harbour/f.####.png" >/dev/null 2>&1
    end=$(date +%s.%N)
    printf '%s: %.2f s\n' "$1" "$(python3 -c "print($end - $start)")"
  }
  first "first half-size frame of the harbour, everything measured"
  first "first half-size frame of the harbour, measures stored"
  python3 "$root/tests/bench/threads.py" "$build/platewright" "$work" "$harbour/f.####.png"
fi
/usr/bin/python3 "$root/tests/bench/memory.py" "$build/platewright"
