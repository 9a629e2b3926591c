#!/usr/bin/env bash
# Lines of src that the tests run, room by room; name a part, such as --lib, for a part of the answer. Counters stand in the hot
# loops too and are not shared well between threads: one thread each is many times quicker here.
set -euo pipefail
cd "$(dirname "$0")/.."
rustup component add llvm-tools >/dev/null 2>&1 || true
tools=$(dirname "$(find "$(rustc --print sysroot)" -name llvm-profdata | head -n 1)")
[ -x "$tools/llvm-profdata" ] || { echo "llvm-tools cannot be installed (rustup component add llvm-tools)"; exit 1; }

work=$PWD/target/coverage
rm -rf "$work/counts"
mkdir -p "$work/counts"
# Only our own code is counted: dependencies stay as they are built.
printf '#!/bin/sh\nexec "$@" -C instrument-coverage\n' >"$work/counted"
chmod +x "$work/counted"
export RAYON_NUM_THREADS=1 RUST_TEST_THREADS=1
export RUSTC_WORKSPACE_WRAPPER=$work/counted LLVM_PROFILE_FILE=$work/counts/%2m.profraw
objects=$(cargo test --locked --release --no-run --message-format=json 2>/dev/null |
  grep -o '"executable":"[^"]*"' | cut -d'"' -f4 | sort -u)
cargo test --locked --release --quiet "$@"
"$tools/llvm-profdata" merge -sparse "$work"/counts/*.profraw -o "$work/counts.profdata"
# shellcheck disable=SC2046
"$tools/llvm-cov" export -summary-only -instr-profile "$work/counts.profdata" $(printf -- '-object %s ' $objects) |
  tr '{' '\n' >"$work/summary.txt"
awk -F'[,:}]' '
  /"filename":/ { file = $0; sub(/.*\/src\//, "", file); sub(/".*/, "", file); wanted = $0 ~ /\/src\// && $0 !~ /registry/ }
  /"lines":/ { lines = 1; next }
  lines && /"count":/ { lines = 0; if (wanted) { room = file; if (room ~ /\//) sub(/\/.*/, "", room); else room = "(top)"
      count[room] += $2; covered[room] += $4; count["all"] += $2; covered["all"] += $4 } wanted = 0 }
  END { for (room in count) printf "%-10s %6d lines, %5.1f %% run\n", room, count[room], 100 * covered[room] / count[room] }
' "$work/summary.txt" | sort
