#!/usr/bin/env bash
# Licences, sources, known weaknesses and withdrawn versions of everything that is built in. What cannot be checked here is said
# loudly at the end; with STRICT=1 it is a failure.
set -euo pipefail
cd "$(dirname "$0")/.."
skipped=()

echo "== licences and sources (our own list, tests/supply_chain.rs)"
cargo test --release --locked --quiet --test library supply_chain

echo "== versions withdrawn from the registry (cargo package asks its index)"
said=$(timeout 600 cargo package --locked --allow-dirty --no-verify 2>&1 || true)
if grep -q "is yanked" <<<"$said"; then
  grep "is yanked" <<<"$said"
  exit 1
elif grep -q "Packaged" <<<"$said"; then
  echo "none of the $(grep -c '^name = ' Cargo.lock) packages is withdrawn"
else
  skipped+=("withdrawn versions: the registry's index did not answer")
fi

echo "== advisories (RustSec)"
tool=""
cargo deny --version >/dev/null 2>&1 && tool="cargo deny check advisories"
cargo audit --version >/dev/null 2>&1 && tool="cargo audit"
if [ -z "$tool" ]; then
  skipped+=("advisories: neither cargo-audit nor cargo-deny is installed (cargo install cargo-audit)")
elif ! timeout 30 git ls-remote --quiet https://github.com/RustSec/advisory-db HEAD >/dev/null 2>&1; then
  skipped+=("advisories: the database github.com/RustSec/advisory-db cannot be reached from here")
else
  $tool
fi

for s in "${skipped[@]}"; do
  echo "== SKIPPED, NOT CHECKED: $s"
done
[ ${#skipped[@]} -eq 0 ] || [ "${STRICT:-0}" != 1 ]
