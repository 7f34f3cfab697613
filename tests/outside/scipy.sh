#!/bin/sh
# Random samples in the crate `statistics` and in scipy and statsmodels. Needs cargo, python3 with venv, and a package index for pip.
set -eu
cd "$(dirname "$0")/../.."
venv=target/outside-venv
[ -x "$venv/bin/python" ] || python3 -m venv "$venv"
"$venv/bin/python" -c 'import scipy, statsmodels' 2>/dev/null ||
  "$venv/bin/pip" install --quiet 'scipy>=1.15,<2' 'statsmodels>=0.14,<1'
cargo run --quiet -p cofferdam-statistics --example outside_samples > target/outside-samples.json
"$venv/bin/python" tests/outside/scipy_check.py target/outside-samples.json
