#!/usr/bin/env bash
# Kills a run at every step that it takes with files, lets every such step fail, and starts two and three runs into one folder
# at once. Always wanted: the whole result of exactly one run (or, after a kill, one that the next run completes), a list that
# knows every file, and an exit code that is true.
#
#   tests/kill_at_every_step.sh [BINARY]      without one the release build is made and used
#   AT_ONCE=100   how often two, and how often three runs are started at once
#   EVERY=1       only every n-th step is killed or fails
#   RECORD=FILE   writes the table of what was done there
#   INSTALL=0     does not install strace where it is missing
#   STRICT=1      a part that cannot be done is a failure
set -euo pipefail
root=$(cd "$(dirname "$0")/.." && pwd)
at_once=${AT_ONCE:-100} every=${EVERY:-1}
binary=${1:-}
if [ -z "$binary" ]; then
  (cd "$root" && cargo build --release --locked --quiet)
  binary=${CARGO_TARGET_DIR:-$root/target}/release/railtrue
fi
work=$(mktemp -d)
# Not in a child that is told to end before it has become the program.
trap '[ "$BASHPID" != $$ ] || rm -rf "$work"' EXIT
cp "$root/examples/panel-bridge.toml" "$work/plan.toml"
cd "$work"
# Two threads and few stations: what is tried is files.
export RAYON_NUM_THREADS=2
sed -i 's/^stations = 21 /stations = 4 /' plan.toml

fail() {
  echo "FAILED: $*"
  find out whole-* -type f 2>/dev/null | sort | xargs -r sha256sum | cut -c1-12,65- | head -n 60
  cat said* 2>/dev/null || true
  exit 1
}
# The run of a seed; the exit code goes to `code`.
run() { code=0; "$binary" trace plan.toml --draw 3 --seed "$1" --out "${2:-out}" >/dev/null 2>said || code=$?; }
# Sums and names of all files of a result, but for what a run that was ended leaves.
sums() { (cd "$1" 2>/dev/null && find . -type f ! -path './railtrue-unfinished/*' ! -name .railtrue-lock ! -name .railtrue-files ! -name notes.txt | sort | xargs -r sha256sum) || true; }
leftovers() { find "$1" \( -name railtrue-unfinished -o -name .railtrue-lock -o -name '*.part' \) 2>/dev/null; }
decided() { [ -e out/railtrue-unfinished/new/.railtrue-files ] && [ ! -e out/railtrue-unfinished/ahead ]; }

for seed in 1 2 3 4; do
  run "$seed" "whole-$seed"
  [ "$code" = 0 ] || fail "the run of seed $seed ended with $code"
  sums "whole-$seed" >"sums-$seed"
  for other in $(seq 1 $((seed - 1))); do
    ! cmp -s "sums-$seed" "sums-$other" || fail "seeds $seed and $other give the same files: the test shows nothing"
  done
done
: >sums-0

# The result of a seed (0: none), whole, with a list that is true.
is_whole() {
  sums out | cmp -s - "sums-$1" || return 1
  [ "$1" = 0 ] || (cd out && sha256sum --check --quiet --strict .railtrue-files) >/dev/null 2>&1
}
# Every file that stands there is in the list with its sum.
all_listed() { sums out | sed 's|  \./|  |' | while read -r line; do grep -qxF "$line" out/.railtrue-files || return 1; done; }
# What stood before a run: nothing, or the result of seed 1 with a note of a person.
before() { rm -rf out; [ "$1" = 0 ] || { cp -a whole-1 out; echo mine >out/notes.txt; }; }

steps="rename renameat renameat2 mkdir mkdirat rmdir unlink unlinkat open openat flock ftruncate fsync fdatasync write"
changes="rename renameat renameat2 mkdir mkdirat fsync ftruncate"
killed=0 decided_kills=0 failed=0 taken_back=0 told=0 skipped=""
# After a kill or a failed step: old, new or decided; the next run gives its own result and nothing else.
judge_kill() {
  local there=$1 what=$2
  if decided; then
    decided_kills=$((decided_kills + 1))
    all_listed || fail "$what: a file that the list does not know"
    # Another result into the same folder leaves the one that was decided on whole.
    cp -a out decided
    rm -rf out && mv decided out && cp -a out again
    code=0
    "$binary" block plan.toml --out out >/dev/null 2>said || code=$?
    grep -q "its result was completed" said || fail "$what: nothing is said of the run that was completed"
    [ "$code" != 0 ] || rm -f out/element-loads.* out/force-and-moment.*
    sums out | cmp -s - sums-2 || fail "$what: not completed (exit code $code)"
    rm -rf out && mv again out
  else
    is_whole "$there" || is_whole 2 || fail "$what: neither the old nor the new result"
  fi
  run 3
  [ "$code" = 0 ] || fail "$what: the next run ended with $code"
  is_whole 3 || fail "$what: the next run's result is not whole"
  [ -z "$(leftovers out)" ] || fail "$what: left over: $(leftovers out)"
  [ "$there" = 0 ] || [ "$(cat out/notes.txt)" = mine ] || fail "$what: a person's file was touched"
}

# After a step that failed: the exit code is true.
judge_failure() {
  local there=$1 what=$2
  case $code in
    0) sums out | cmp -s - sums-2 || fail "$what: exit code 0 without the result" ;;
    2)
      if grep -q "files of two runs" said; then
        told=$((told + 1))
        decided || fail "$what: two runs are said, none is there"
      else
        taken_back=$((taken_back + 1))
        is_whole "$there" || fail "$what: exit code 2, and something was changed"
      fi
      ;;
    *) fail "$what: exit code $code" ;;
  esac
  judge_kill "$there" "$what"
}

if ! command -v strace >/dev/null 2>&1 && [ "${INSTALL:-1}" = 1 ]; then
  (apt-get update -qq && apt-get install -y -qq strace) >/dev/null 2>&1 || true
fi
if ! strace -o /dev/null true 2>/dev/null; then
  skipped="kills and failures at every step: strace is missing here, or is not allowed"
else
  # Without the shell's own word on a killed job.
  trace() { { code=0; strace -f -qq -o trace.txt "$@" "$binary" trace plan.toml --draw 3 --seed 2 --out out >/dev/null 2>said || code=$?; } 2>/dev/null; }
  for there in 0 1; do
    for step in $steps; do
      n=1
      while :; do
        before $there
        trace -e "trace=$step" -e "inject=$step:signal=KILL:when=$n"
        [ "$code" != 0 ] || break
        [ "$code" = 137 ] || fail "kill at $step $n: exit code $code"
        killed=$((killed + 1))
        judge_kill $there "kill at $step $n, result before: $there"
        n=$((n + every))
      done
    done
    # Each step that changes something fails once, or from then on for good.
    for step in $changes; do
      for how in "" "+"; do
        n=1
        while :; do
          before $there
          trace -e "trace=$step" -e "inject=$step:error=EIO:when=$n$how"
          grep -q INJECTED trace.txt || break
          failed=$((failed + 1))
          judge_failure $there "$step $n$how fails, result before: $there"
          n=$((n + every))
        done
      done
    done
  done
  [ "$killed" -gt 10 ] && [ "$decided_kills" -gt 0 ] && [ "$failed" -gt 3 ] || fail "$killed kills, $decided_kills decided, $failed failures: the test shows nothing"
fi

refused=0 finished=0 stopped=0
# Several runs at once; in every third round one of them has no room on the disk, in every third one is told to end.
for runs in 2 3; do
  for round in $(seq "$at_once"); do
    before $((round % 2))
    pids=()
    for seed in $(seq 2 $((runs + 1))); do
      if [ "$seed" = 2 ] && [ $((round % 3)) = 1 ]; then
        (trap '' XFSZ; ulimit -f 8; exec "$binary" trace plan.toml --draw 3 --seed 2 --out out >/dev/null 2>said-2) &
      else
        "$binary" trace plan.toml --draw 3 --seed "$seed" --out out >/dev/null 2>"said-$seed" &
      fi
      pids+=($!)
    done
    if [ $((round % 3)) = 2 ]; then
      sleep "0.0$((RANDOM % 10))"
      kill -TERM "${pids[0]}" 2>/dev/null || true
    fi
    won=() told_of_end=""
    for seed in $(seq 2 $((runs + 1))); do
      code=0
      wait "${pids[$((seed - 2))]}" || code=$?
      case $code in
        0) won+=("$seed"); finished=$((finished + 1)) ;;
        2)
          if grep -q "another run of railtrue" "said-$seed"; then
            refused=$((refused + 1))
          elif grep -q "interrupted: \|cannot be written" "said-$seed"; then
            stopped=$((stopped + 1))
            ! grep -q "all files are in place" "said-$seed" || told_of_end=$seed
          else
            fail "$runs at once, round $round, seed $seed: refused for no reason"
          fi
          ;;
        # Told to end before it could listen.
        143) stopped=$((stopped + 1)) ;;
        *) fail "$runs at once, round $round, seed $seed: exit code $code" ;;
      esac
    done
    one=""
    for seed in "${won[@]}" $told_of_end; do ! is_whole "$seed" || one=$seed; done
    if [ ${#won[@]} = 0 ] && [ -z "$told_of_end" ]; then
      is_whole $((round % 2)) || fail "$runs at once, round $round: no run got through, and something was changed"
    else
      [ -n "$one" ] || fail "$runs at once, round $round: not the whole result of one of ${won[*]}"
    fi
    [ -z "$(leftovers out)" ] || run 4
    [ -z "$(leftovers out)" ] || fail "$runs at once, round $round: left over: $(leftovers out)"
  done
done
[ "$refused" -gt 0 ] && [ "$finished" -gt 0 ] || fail "$refused refused, $finished finished: the test shows nothing"

table() {
  echo "| tried | number | found |"
  echo "|---|---|---|"
  if [ -z "$skipped" ]; then
    echo "| killed at a step with files (every ${every}. one; nothing there, or an older result with a person's note) | $killed | old or new whole; the next run's result whole |"
    echo "| of these, and of the failures, between the first and the last rename | $decided_kills | every file in the list; completed by the next run |"
    echo "| a step that changes something fails, once or for good | $failed | $taken_back times exit code 2 and nothing changed; $told times exit code 2 and said to be between two runs; else exit code 0 and whole |"
  else
    echo "| SKIPPED | | $skipped |"
  fi
  echo "| two runs at once | $at_once times | whole result of one run with exit code 0 |"
  echo "| three runs at once | $at_once times | the same |"
  echo "| runs of these | $((refused + finished + stopped)) | $finished exit code 0; $refused refused (another run writes); $stopped stopped (told to end, no room on the disk) |"
}
table
if [ -n "${RECORD:-}" ]; then
  {
    echo "# Runs that are killed, that fail and that meet in one folder"
    echo
    echo "Written by \`RECORD=tests/kill_at_every_step.md tests/kill_at_every_step.sh\`, $(date -u +%Y-%m-%d), commit $(git -C "$root" rev-parse --short HEAD)."
    echo "\`trace\` of the demo machine, four files and their list. Nothing of what is not wanted was found, or this would not be written."
    echo
    table
  } >"$root/$RECORD"
fi
if [ -n "$skipped" ]; then
  echo "== SKIPPED, NOT CHECKED: $skipped"
  [ "${STRICT:-0}" != 1 ] || exit 1
fi
