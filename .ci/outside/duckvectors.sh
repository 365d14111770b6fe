#!/bin/sh
# The ducking law's test vectors, computed again from the law as it is written
# by somebody who has not seen our code. Needs the Debian package
# python3-scipy. Nothing is kept.
set -eu
cd "$(dirname "$0")/../.."
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
go run ./cmd/tachbench mix --vectors "$tmp/vectors.json" >/dev/null
/usr/bin/python3 .ci/outside/duckvectors.py "$tmp/vectors.json"
