#!/bin/sh
# Random systems in the simulator and in SimPy, task by task. Needs cargo, python3 with venv, and a package index for pip.
set -eu
cd "$(dirname "$0")/../.."
venv=target/outside-venv
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/python" -c 'import simpy' 2>/dev/null || "$venv/bin/pip" install --quiet 'simpy==4.1.1'
cargo run --quiet -p cofferdam-testkit --example outside_systems > target/outside-systems.json
"$venv/bin/python" tests/outside/simpy_check.py target/outside-systems.json
