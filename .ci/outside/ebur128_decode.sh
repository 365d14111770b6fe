#!/bin/sh
# ebur128_decode.sh FILE NAME [FFMPEG OUTPUT OPTIONS...]
#
# Decodes the first audio stream of FILE once, for both meters and for FFmpeg's
# own reading: NAME.f64 holds interleaved doubles, NAME.row the line
# PATH TAB RATE TAB CHANNELS TAB I TAB LRA TAB SAMPLE_PEAK TAB TRUE_PEAK (FFmpeg's). A file
# that FFmpeg cannot decode leaves no row.
set -eu
file=$1
name=$2
shift 2
filter=
if [ $# -gt 0 ]; then filter="$1,"; fi
ffmpeg -nostdin -hide_banner -nostats -v info -i "$file" \
	-filter_complex "[0:a:0]${filter}aformat=sample_fmts=dbl,asplit[a][b];[b]ebur128=peak=sample+true:framelog=verbose[c]" \
	-map '[a]' -c:a pcm_f64le -f f64le "$name.f64" -map '[c]' -f null - 2>"$name.log" || { rm -f "$name.f64"; exit 0; }
awk -v p="$name.f64" '
	/^Output #0/ { out = 1 }
	out && /Stream #0:0.*Audio/ { out = 0
		for (k = 2; k <= NF; k++) { if ($k == "Hz,") rate = $(k - 1) }
		ch = 0
		if (/ mono,/) ch = 1
		if (/ stereo,/) ch = 2
		if (/ 5\.1[,(]/) ch = 6 }
	/Summary:/ { sum = 1 }
	sum && $1 == "I:" { i = $2 } sum && $1 == "LRA:" { l = $2 } sum && $1 == "Peak:" { k = t; t = $2 }
	END { if (rate && ch && k != "") printf "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", p, rate, ch, i, l, k, t }' "$name.log" >"$name.row"
rm -f "$name.log"
