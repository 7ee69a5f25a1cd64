#!/usr/bin/env bash
# The demo: draws a shot, takes a thing out of it, and says how well that went.
set -euo pipefail

help() {
  cat <<'TEXT'
apps/demo.sh [--no-install] [--keep-measured] [--help]

Installs what packages.txt names, builds, draws the harbour (960x540, 48 frames) and runs fixtures/harbour.toml on it:
the inflatable figure, its shadow and its reflection go, the passer-by stays. Everything is written to out/demo.

  --no-install      do not look for missing packages
  --keep-measured   use the last run's tracks and stills again where nothing they came from has changed
TEXT
}

install=yes keep=no
for word in "$@"; do
  case $word in
    --no-install) install=no ;;
    --keep-measured) keep=yes ;;
    -h | --help) help; exit 0 ;;
    *) echo "demo.sh: there is no option $word; see apps/demo.sh --help" >&2; exit 2 ;;
  esac
done

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
demo=$root/out/demo
platewright=$root/build/release/platewright
stage=$root/build/release/fixtures/stage/stage
sheet_frames=7,16,31,43

# step "What is done" COMMAND...: runs it, and keeps how long it took.
times=()
step() {
  local what=$1 start=${EPOCHREALTIME/[.,]/}
  shift
  printf '\n== %s\n' "$what"
  "$@"
  local took=$((${EPOCHREALTIME/[.,]/} - start))
  times+=("$took $what")
}

# Each step's seconds, and from the first after the build on its share.
shares() {
  printf '%s\n' "${times[@]}" | awk '
    { took[NR] = $1 / 1e6; $1 = ""; what[NR] = $0; if (what[NR] == " Build") after = NR }
    END {
      for (i = after + 1; i <= NR; ++i) all += took[i]
      for (i = 1; i <= NR; ++i) {
        share = (i > after) ? sprintf("%.0f %%", 100 * took[i] / all) : ""
        printf "%8.1f s  %4s %s\n", took[i], share, what[i]
      }
    }'
}

build() { (cd "$root" && cmake --preset release >/dev/null && cmake --build --preset release --target platewright stage); }

# The shot file expects its clip and its outlines beside it.
lay_out() {
  mkdir -p "$demo"
  rm -rf "$demo/plate" "$demo/out" "$demo/clean" "$demo/layers" "$demo/harbour" "$demo"/harbour.m??
  [ $keep = yes ] || rm -rf "$demo"/*.measured
  cp "$root/fixtures/harbour.toml" "$demo/"
  cp -r "$root/fixtures/harbour" "$demo/"
  "$stage" harbour "$demo/plate" --size 960x540 --frames 48
}

score() {
  echo "Clean plate against the empty quay, where the figure, its shadow or its reflection had been:"
  "$platewright" score "$demo/clean/harbour.####.png" "$demo/plate/truth/empty/f.####.png" \
    --matte "$demo/plate/truth/removed/f.####.png"
  echo "Finished frames against the same shot taken without the figure:"
  "$platewright" score "$demo/out/harbour.####.png" "$demo/plate/truth/answer/f.####.png"
}

sheets() {
  "$platewright" contactsheet "$demo/before_after.png" "$demo/plate/f.####.png" "$demo/out/harbour.####.png" \
    --frames $sheet_frames --height 180
}

# The pinned stills, and what each step adds to them. What was measured for the shot serves here too.
layers() {
  local node
  cp "$demo/harbour.toml" "$demo/layers.toml"
  for node in joined lit rained; do
    printf '\n[%s_seen]\nkind = "deliver"\nimage = "%s"\nfile = "layers/%s.####.png"\nencoding = "srgb"\n' \
      $node $node $node >>"$demo/layers.toml"
  done
  rm -rf "$demo/layers.measured"
  cp -r "$demo/harbour.measured" "$demo/layers.measured"
  "$platewright" render "$demo/layers.toml" joined_seen lit_seen rained_seen --frames $sheet_frames
  "$platewright" contactsheet "$demo/layers.png" "$demo"/layers/{joined,lit,rained}.####.png \
    "$demo/out/harbour.####.png" "$demo/plate/f.####.png" --frames $sheet_frames --crop 380,200,620,340 --height 140
}

if [ $install = yes ]; then step "Packages" "$root/apps/install.sh"; fi
step "Build" build
built=$SECONDS
step "Draw the shot" lay_out
step "Take the figure out" "$platewright" render "$demo/harbour.toml"
step "Score" score
step "Before and after" sheets
step "Layer by layer" layers

keys=$(cat "$demo"/harbour/*.svg | grep -c 'id="frame-')
cat <<TEXT

Done.
  before   $demo/plate/f.####.png
  after    $demo/out/harbour.####.png
  clean    $demo/clean/harbour.####.png
  movies   $demo/harbour.mov (ProRes, for an editor), $demo/harbour.mp4 (to look at)
  look at  $demo/before_after.png (before above, after below)
           $demo/layers.png (the stills pinned; in each frame's light; with rain; finished, with grain; the plate)

A person had to draw $keys outline keys:
$(cd "$demo/harbour" && for f in *.svg; do printf '  %-10s %3d\n' "${f%.svg}" "$(grep -c 'id="frame-' "$f")"; done)

Time, and its share of all after the build:
$(shares)
$(printf '%8d s        all after the build' $((SECONDS - built)))
TEXT
