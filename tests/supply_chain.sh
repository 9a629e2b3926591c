#!/usr/bin/env bash
# Licences, sources and known weaknesses of everything that is built in. Says loudly what it cannot check on this machine.
set -euo pipefail
cd "$(dirname "$0")/.."
echo "== licences and sources (our own list, tests/supply_chain.rs)"
cargo test --locked --quiet --test supply_chain
if cargo audit --version >/dev/null 2>&1; then
  echo "== advisories: cargo audit"
  cargo audit
elif cargo deny --version >/dev/null 2>&1; then
  echo "== advisories: cargo deny"
  cargo deny check advisories
else
  echo "== SKIPPED: advisories were NOT checked: neither cargo-audit nor cargo-deny is installed (cargo install cargo-audit)"
fi
