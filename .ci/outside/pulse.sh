#!/bin/sh
# What the sound device gets is what was rendered: a minute of a looped scene
# of the demo and half a minute of a lever on its note, into the null sink of a
# real PulseAudio server, recorded from its monitor and compared by sample
# with the same thing recorded by --to. And a server that dies under the
# music: one line, status 3, soon. Needs the Debian packages pulseaudio
# pulseaudio-utils python3-scipy. Nothing is kept.
set -eu
cd "$(dirname "$0")/../.."
here=$(pwd)
tmp=$(mktemp -d)
server= recorder= player=
cleanup() {
	for pid in $player $recorder $server; do
		kill -KILL "$pid" 2>/dev/null || true
	done
	rm -rf "$tmp"
}
trap cleanup EXIT
trap 'exit 130' INT TERM
go build -o "$tmp/tachbench" ./cmd/tachbench
cd "$tmp"
./tachbench demo sled >/dev/null
sheet=sled/soundsheet.toml

# First in line for a core, where that is allowed: what is measured is the way
# of the samples, not how busy the machine is.
first=
if chrt -r 5 true 2>/dev/null; then
	first="chrt -r 5"
fi

# Everything of the server's lies in the temporary folder.
HOME=$tmp XDG_RUNTIME_DIR=$tmp/run PULSE_SERVER=unix:$tmp/run/native
export HOME XDG_RUNTIME_DIR PULSE_SERVER
unset PULSE_COOKIE PULSE_RUNTIME_PATH XDG_CONFIG_HOME || true
mkdir -m 0700 run
start_server() {
	$first pulseaudio -n --daemonize=no --exit-idle-time=-1 --use-pid-file=no --log-target=file:"$tmp/server.log" \
		--load="module-native-protocol-unix auth-anonymous=1 socket=$tmp/run/native" \
		--load="module-null-sink sink_name=desk format=float32le rate=48000 channels=2" 2>/dev/null &
	server=$!
	for _ in $(seq 100); do
		if pactl info >/dev/null 2>&1; then
			# It gives up the place it was started with.
			[ -z "$first" ] || chrt -a -r -p 5 "$server" >/dev/null
			return
		fi
		sleep 0.1
	done
	echo "the sound server does not come up" >&2
	cat "$tmp/server.log" >&2
	exit 1
}

# heard NAME FLAGS...: play and record, then record the same with --to. A
# machine too busy to play proves nothing: preview says so, and has another go.
heard() {
	name=$1
	shift
	for go in 1 2 3; do
		$first parec --device=desk.monitor --format=float32le --rate=48000 --channels=2 --latency-msec=20 --raw >"$name.raw" &
		recorder=$!
		sleep 1
		$first ./tachbench preview $sheet "$@" </dev/null 2>"$name.said" &
		player=$!
		wait "$player" || { echo "$name: preview ended with status $?" >&2; cat "$name.said" >&2; exit 1; }
		player=
		sleep 0.5
		kill -INT "$recorder"
		wait "$recorder" || true
		recorder=
		cat "$name.said"
		grep -q "The sound was torn" "$name.said" || break
		[ "$go" -lt 3 ] || { echo "$name: torn three times" >&2; exit 1; }
	done
	./tachbench preview $sheet "$@" --to "$name.wav" </dev/null >/dev/null
	/usr/bin/python3 "$here/.ci/outside/pulse_compare.py" "$name.wav" "$name.raw"
}

start_server
heard scene --scene launch --loop --seconds 60 --volume -6
{
	echo "time_s,pressed"
	for i in $(seq 0 9); do
		printf '%d.5,1\n%d,0.3\n%d.25,0\n' $((i * 3)) $((i * 3 + 1)) $((i * 3 + 2))
	done
} >presses.csv
heard note --note --lever presses.csv --seconds 30 --volume -6 --hall --cabinet

# The server dies under the music, and is stopped under the music.
for signal in KILL STOP; do
	[ -n "$server" ] || start_server
	./tachbench preview $sheet --scene launch --loop --seconds 60 </dev/null 2>said &
	player=$!
	for _ in $(seq 100); do
		grep -q Playing said && break
		sleep 0.1
	done
	sleep 2
	kill -$signal "$server"
	before=$(date +%s%N)
	status=0
	wait "$player" || status=$?
	took=$((($(date +%s%N) - before) / 1000000))
	player=
	kill -KILL "$server" 2>/dev/null || true
	wait "$server" 2>/dev/null || true
	server=
	rm -f "$tmp/run/native"
	echo "server $signal: status $status after $took ms: $(tail -n 1 said)"
	[ "$status" = 3 ] || { echo "status 3 was expected" >&2; exit 1; }
	[ "$took" -lt 3000 ] || { echo "within 3 s was expected" >&2; exit 1; }
	[ "$(grep -c '^tachbench: the sound device' said)" = 1 ] || { echo "one line was expected" >&2; cat said >&2; exit 1; }
done
