#!/bin/sh
# Loudness and peak against libebur128 and FFmpeg on real open sound, and speed
# side by side. Needs the Debian packages gcc libebur128-dev ffmpeg
# asterisk-moh-opsound-wav asterisk-core-sounds-en-wav pinball-data
# pinball-table-gnu-data torcs-data. Nothing is kept.
#
# Choices that make 0.01 LU and 0.05 dB possible: the numerator of the second
# filter stage is not scaled, and the true-peak interpolator is the same sinc
# under a Hann window (see analysis/loudness/doc.go and analysis/peak/doc.go).
# libebur128 takes its range from one value a second, the standard wants ten:
# both are compared, see ebur128_lib.c.
set -eu
cd "$(dirname "$0")/../.."
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT

cc -O2 -Wall -o "$tmp/lib" .ci/outside/ebur128_lib.c -lebur128 -lm
go build -tags outside -o "$tmp/ours" .ci/outside/ebur128_levels.go

echo "decoding"
for package in asterisk-moh-opsound-wav asterisk-core-sounds-en-wav pinball-data pinball-table-gnu-data torcs-data; do
	dpkg -L "$package" | grep -iE '\.(wav|ogg|mp3|flac)$' || true
done | sort -u >"$tmp/files"
while read -r file; do
	n=$((${n:-0} + 1))
	[ -L "$file" ] || printf '%s\0%s\0' "$file" "$tmp/$n-$(basename "$file")"
done <"$tmp/files" | xargs -0 -n 2 -P "$(nproc)" .ci/outside/ebur128_decode.sh
# The same at other rates and in 5.1, which real open sound here does not have.
music=$(dpkg -L pinball-table-gnu-data | grep -i 'music\.ogg$')
for rate in 48000 96000 192000; do
	.ci/outside/ebur128_decode.sh "$music" "$tmp/music-at-$rate" "atrim=end=60,aresample=$rate"
done
.ci/outside/ebur128_decode.sh "$music" "$tmp/music-in-5.1" \
	'atrim=end=60,pan=5.1|c0=c0|c1=c1|c2=0.5*c0|c3=c1|c4=0.7*c1|c5=0.4*c0'
cat "$tmp"/*.row >"$tmp/list"
n=$(wc -l <"$tmp/list")
echo "$n files"
[ "$n" -ge 600 ] || { echo "too few files: are the packages installed?" >&2; exit 1; }

"$tmp/lib" levels <"$tmp/list" >"$tmp/theirs"
"$tmp/ours" compare "$tmp/list" "$tmp/theirs"

echo "speed, 20 minutes of 48 kHz stereo, one core, made of $music"
# As it is, and driven into a limiter, where little of the true peak can be
# skipped. Side by side, the best of three each.
for how in 'as it is:anull' 'limited:volume=20dB,alimiter=limit=0.98:level=false'; do
	ffmpeg -nostdin -hide_banner -nostats -v error -y -stream_loop -1 -i "$music" -t 1200 -af "${how#*:}" \
		-ar 48000 -ac 2 -f s16le "$tmp/long"
	rm -f "$tmp/speed-ours" "$tmp/speed-theirs"
	for round in 1 2 3; do
		taskset -c 0 "$tmp/lib" speed "$tmp/long" >>"$tmp/speed-theirs"
		GOMAXPROCS=1 taskset -c 0 "$tmp/ours" speed "$tmp/long" >>"$tmp/speed-ours"
	done
	paste "$tmp/speed-ours" "$tmp/speed-theirs" | awk -v how="${how%%:*}" '
		{ if ($1 > a) a = $1; if ($2 > b) b = $2 }
		END {
			printf "%s: ours (I, LRA, M, S, true peak) %.0f x real time, libebur128 (I, LRA, true peak) %.0f x, ratio %.2f\n", how, a, b, a / b
			if (a < 3 * b) { print "under 3 times as fast" > "/dev/stderr"; exit 1 }
		}'
done
