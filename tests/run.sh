#!/usr/bin/env bash
# All checks and tests, as the README's second command and as CI: sets up what is missing, starts a
# throw-away PostgreSQL, builds once and runs everything. Prints what it leaves out, and why.
#
#   tests/run.sh                     all of it
#   tests/run.sh -- FILTER ...       the tests whose names match, for work on one thing
set -euo pipefail
cd "$(dirname "$0")/.."

if [ "${1:-}" = "--" ]; then shift; fi

step() { printf '\n== %s\n' "$*" >&2; }
left_out() { printf '== left out: %s\n' "$*" >&2; }

step "set-up"
tests/setup.sh tests

if cargo fmt --version >/dev/null 2>&1; then
    step "formatting"
    cargo fmt --all --check
else
    left_out "formatting (this toolchain has no rustfmt)"
fi

if cargo clippy --version >/dev/null 2>&1; then
    step "lints"
    cargo clippy --workspace --all-targets --locked -- -D warnings
else
    left_out "lints (this toolchain has no clippy)"
fi

step "documentation"
RUSTDOCFLAGS="-D warnings" cargo doc --workspace --no-deps --locked

if cargo deny --version >/dev/null 2>&1; then
    step "licences, sources, bans"
    # Advisories need the network; a machine that has it runs `cargo deny check`.
    cargo deny --offline check licenses sources bans
else
    left_out "licences, sources, bans (cargo-deny is not installed)"
fi

step "PostgreSQL"
SPARELOOP_TEST_POSTGRES=$(tests/postgres.sh start)
export SPARELOOP_TEST_POSTGRES
trap 'tests/postgres.sh stop' EXIT

step "build"
cargo build --workspace --all-targets --locked

step "tests"
# Seeded, so that a run says the same twice; `PROPTEST_RNG_SEED=random tests/run.sh` draws anew.
export PROPTEST_RNG_SEED="${PROPTEST_RNG_SEED:-20261125}"
cargo test --workspace --locked "$@"

step "container files"
docker/check.sh
