#!/usr/bin/env bash
# Draws test footage with the stage, unless the same has been drawn before. draw.sh STAGE FOLDER SCENE [OPTION ...]
# A sequence `lowrate` becomes movies too: 8-bit 4:2:0 H.264 at 160 kbit a second, one in 1100 of what the frames hold,
# and at 365, the least that the guidelines for HTTP Live Streaming list for pictures 640 wide (from memory).
set -euo pipefail
stage=$1 folder=$2
shift 2
stamp="$(cat "$stage" "$0" | sha256sum | cut -d' ' -f1) $*"
[ -f "$folder.stamp" ] && [ "$(cat "$folder.stamp")" = "$stamp" ] && exit 0
rm -rf "$folder" "$folder.stamp"
mkdir -p "$(dirname "$folder")"
"$stage" "$1" "$folder" "${@:2}"
if [ -d "$folder/lowrate" ]; then
  for rate in 160 365; do
    ffmpeg -v error -framerate 25 -i "$folder/lowrate/f.%04d.png" -vf scale=out_color_matrix=bt709:out_range=tv \
      -pix_fmt yuv420p -c:v libx264 -threads 1 -b:v ${rate}k -colorspace bt709 -color_primaries bt709 -color_range tv \
      "$folder/lowrate/movie_$rate.mp4"
  done
fi
echo "$stamp" > "$folder.stamp"
