#!/bin/sh
# Real-time loads of known periods, recorded by the kernel's own tracers and drafted from, beside a reader of its own.
# Needs cargo, python3, Debian's linux-perf, and the right to all three: `mount -t tracefs none /sys/kernel/tracing` as root.
set -eu
cd "$(dirname "$0")/../.."
command -v perf >/dev/null || echo 'perf is missing (Debian: linux-perf), so nothing of it is compared' >&2
cargo build --quiet -p cofferdam
python3 tests/outside/perf_check.py target/debug/cofferdam target/outside-perf "${1:-300}"
