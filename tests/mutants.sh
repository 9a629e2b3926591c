#!/usr/bin/env bash
# Changes the program on purpose, one place at a time, and sees whether a test notices (cargo-mutants).
#   tests/mutants.sh                    everything in bearing, contact, geometry, structure, study: a night's work
#   tests/mutants.sh 3/40 src/bearing   share 3 of 40 of one room
# Write what came out into tests/mutants.md, with date and commit.
set -euo pipefail
cd "$(dirname "$0")/.."
cargo mutants --version >/dev/null 2>&1 || { echo "SKIPPED: cargo-mutants is not installed (cargo install cargo-mutants)"; exit 0; }
shard=${1:-0/1}
shift || true
[ $# -gt 0 ] || set -- src/bearing src/contact src/geometry src/structure src/study
files=()
for room in "$@"; do files+=(-f "$room/**" -f "$room"); done
# Quick tests that hold the model; the slow ones only add what the binary prints. Warnings stay warnings so that nothing is built twice.
CARGO_PROFILE_TEST_OPT_LEVEL=1 cargo mutants --cap-lints=false --shard "$shard" --sharding round-robin --timeout 120 "${files[@]}" -- --lib \
  --test 'ref_*' --test 'cross_*' --test check_laws --test check_study --test check_survey --test check_contact_machine \
  --test check_fast_path --test check_worst_case --test check_tightening --test check_properties
