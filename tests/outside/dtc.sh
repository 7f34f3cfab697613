#!/bin/sh
# Random devicetree sources, written by a generator of its own, in our reader and in the devicetree compiler, byte by byte.
# Needs cargo, Python and Debian's device-tree-compiler.
set -eu
cd "$(dirname "$0")/../.."
command -v dtc >/dev/null || { echo 'install device-tree-compiler first' >&2; exit 1; }
cargo build --quiet --release -p cofferdam-devicetree --example tree_bytes
python3 tests/outside/dtc_check.py target/release/examples/tree_bytes target/outside-dtc "${1:-500}"
