#!/usr/bin/env bash
# Breaks plans, surveys and installations by chance for as long as is asked: tests/fuzz/run.sh [SECONDS] [SEED].
# What makes the program panic or hang is written to target/fuzz-*; put it into tests/corpus once it is understood.
set -euo pipefail
cd "$(dirname "$0")/../.."
RAILTRUE_FUZZ_SECONDS=${1:-600} RAILTRUE_FUZZ_SEED=${2:-$RANDOM} cargo test --locked --test fuzz_readers -- --nocapture
