#!/usr/bin/env bash
# Breaks plans, surveys, callouts and installations by chance for as long as is asked, each kind for the same time:
# tests/fuzz/run.sh [SECONDS EACH] [SEED]. Results with their dates: tests/fuzz/result.md.
# What makes the program panic or hang is written to target/fuzz-*; put it into tests/corpus once it is understood.
set -euo pipefail
cd "$(dirname "$0")/../.."
seed=${2:-$RANDOM}
for kind in plan survey callouts installation; do
  RAILTRUE_FUZZ_KIND=$kind RAILTRUE_FUZZ_SECONDS=${1:-300} RAILTRUE_FUZZ_SEED=$seed \
    cargo test --locked --quiet --test library fuzz_readers -- --nocapture
done
