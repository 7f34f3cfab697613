#!/bin/sh
# Random traces of the Common Trace Format, written by a generator of its own, in our reader and in babeltrace2, event by event.
# Needs cargo and Debian's babeltrace2 with its Python bindings (python3-bt2).
set -eu
cd "$(dirname "$0")/../.."
/usr/bin/python3 -c 'import bt2' || { echo 'install babeltrace2 and python3-bt2 first' >&2; exit 1; }
cargo build --quiet --release -p cofferdam-trace --example ctf_events
/usr/bin/python3 tests/outside/babeltrace_check.py target/release/examples/ctf_events target/outside-ctf "${1:-200}"
