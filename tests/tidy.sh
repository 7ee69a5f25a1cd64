#!/usr/bin/env bash
# clang-tidy over the sources that the last commit or the work tree changed, at most six. tidy.sh ROOT BUILD
set -euo pipefail
cd "$1"
base=$(git rev-parse -q --verify HEAD~1 || git rev-parse HEAD)
mapfile -t changed < <(git diff --name-only --diff-filter=d "$base" -- '*.cpp' | grep -vE '^tests/|^fixtures/' | head -6)
[ ${#changed[@]} -eq 0 ] && { echo "no source changed"; exit 0; }
printf '%s\n' "${changed[@]}"
# Sources that are built together have no command of their own, and a guessed one may lack a library.
clang-tidy --quiet -p "$2" --extra-arg=-isystem/usr/include/eigen3 --extra-arg=-isystem/usr/include/opencv4 "${changed[@]}"
