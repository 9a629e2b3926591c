#!/usr/bin/env bash
# Changes the program on purpose, one place at a time, and sees whether a test notices. All changes are compiled into one copy
# of the source tree (target/mutants/tree), one is on at a time.
#   tests/mutants.sh                      all that was not tried yet, by the library's tests; goes on where it was stopped
#   tests/mutants.sh all bearing study/f  the same for rooms, folders or files: fewer changes make a quicker copy
#   tests/mutants.sh again [ROOM..]       what was not caught, with more time for each and by the commands' tests too
#   tests/mutants.sh page                 result and page from what is known
#   tests/mutants.sh share [NUMBER]       the share of the day, in three minutes: a part of CI
# What came out stands in tests/mutants.md and, a letter for each change, in tests/mutants/result.txt. What is known of a
# survivor stands in tests/mutants/explained.txt. Remove target/mutants/outcomes.jsonl to begin anew.
set -euo pipefail
cd "$(dirname "$0")/.."
if [ $# -eq 0 ]; then set -- all; fi
exec nice -n 19 cargo run --locked --quiet --manifest-path tests/mutants/Cargo.toml --target-dir target/mutants/runner -- "$@"
