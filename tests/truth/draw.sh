#!/usr/bin/env bash
# Draws test footage with the stage, unless the same stage has drawn the same before. draw.sh STAGE FOLDER SCENE [OPTION ...]
set -euo pipefail
stage=$1 folder=$2
shift 2
stamp="$(sha256sum "$stage" | cut -d' ' -f1) $*"
[ -f "$folder.stamp" ] && [ "$(cat "$folder.stamp")" = "$stamp" ] && exit 0
rm -rf "$folder" "$folder.stamp"
mkdir -p "$(dirname "$folder")"
"$stage" "$1" "$folder" "${@:2}"
echo "$stamp" > "$folder.stamp"
