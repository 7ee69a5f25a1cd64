#!/usr/bin/env bash
# Every source is as clang-format would write it. format.sh ROOT
cd "$1" && git ls-files -z -- '*.cpp' '*.h' | xargs -0 clang-format --dry-run --Werror
