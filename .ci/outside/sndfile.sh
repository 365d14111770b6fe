#!/bin/sh
# Checks our WAV reading and writing, and the decoders in use, against
# libsndfile and FFmpeg, bit for bit where the format is lossless.
# Needs Debian's gcc, libc6-dev, libsndfile1-dev, sndfile-programs, ffmpeg;
# a missing tool is a failure, never a skip.
set -eu
cd "$(dirname "$0")/../.."
for tool in gcc ffmpeg sndfile-info go; do
    command -v "$tool" >/dev/null || { echo "sndfile.sh: $tool is not installed" >&2; exit 1; }
done
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
gcc -Wall -Werror -O1 -o "$work/sndfile_probe" .ci/outside/sndfile_probe.c -lsndfile
SNDFILE_PROBE="$work/sndfile_probe" go test -tags outside -count=1 -run 'TestOutside' -v ./samples/file/
