#!/bin/sh
# Third-octave levels against scipy on real open sound. Needs the Debian
# packages python3-scipy ffmpeg asterisk-core-sounds-en-wav
# asterisk-moh-opsound-wav pinball-data pinball-table-gnu-data torcs-data.
# Nothing is kept.
set -eu
cd "$(dirname "$0")/../.."
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
go build -tags outside -o "$tmp/ours" .ci/outside/thirdoctave_levels.go
# All the music, and every eighth of the short sounds.
{
	dpkg -L asterisk-moh-opsound-wav pinball-data pinball-table-gnu-data | grep -iE '\.(wav|ogg)$'
	dpkg -L torcs-data asterisk-core-sounds-en-wav | grep -iE '\.(wav|ogg)$' | sort | awk 'NR % 8 == 0'
} | sort | while read -r file; do
	n=$((${n:-0} + 1))
	[ -L "$file" ] || printf '%s\0%s\0' "$file" "$tmp/$n-$(basename "$file")"
done | xargs -0 -n 2 -P "$(nproc)" .ci/outside/ebur128_decode.sh
cat "$tmp"/*.row >"$tmp/list"
"$tmp/ours" <"$tmp/list" >"$tmp/levels"
/usr/bin/python3 .ci/outside/thirdoctave.py "$tmp/list" "$tmp/levels"
