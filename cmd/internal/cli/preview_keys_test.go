package cli

import (
	"slices"
	"testing"
	"time"
)

// keysOf feeds reads one by one; between reads nothing comes for a while if
// pause is set, and always at the end.
func keysOf(pause bool, reads ...string) []key {
	var p keyParser
	var out []key
	emit := func(k key) { out = append(out, k) }
	for _, r := range reads {
		for i := range len(r) {
			p.feed(r[i], emit)
		}
		if pause {
			p.flush(emit)
		}
	}
	p.flush(emit)
	return out
}

// The sequences are those of xterm and the Linux console, ECMA-48 (from
// memory).
func TestKeyParser(t *testing.T) {
	for _, c := range []struct {
		pause bool
		reads []string
		want  []key
	}{
		{false, []string{"p 1q"}, []key{'p', ' ', '1', 'q'}},
		{false, []string{"\x1b"}, []key{keyEsc}},
		{false, []string{"\x1b\x1b"}, []key{keyEsc, keyEsc}},
		{false, []string{"\x1b[A\x1b[B"}, []key{keyUp, keyDown}},
		{false, []string{"\x1bOA\x1bOB"}, []key{keyUp, keyDown}},     // cursor keys in application mode
		{false, []string{"\x1b", "[", "A"}, []key{keyUp}},            // cut into three reads
		{true, []string{"\x1b", "p"}, []key{keyEsc, 'p'}},            // Esc, then p
		{false, []string{"\x1bp"}, []key{keyEsc, 'p'}},               // Alt-p looks the same; silence is the safe reading
		{false, []string{"\x1b[3~p"}, []key{'p'}},                    // Delete
		{false, []string{"\x1b[15~\x1bOP\x1b[Hq"}, []key{'q'}},       // F5, F1, Home
		{false, []string{"\x1b[1;5Ax"}, []key{'x'}},                  // Ctrl-Up is not Up
		{false, []string{"\x1b[C\x1b[Dm"}, []key{'m'}},               // right and left
		{false, []string{"\x1b[<0;33;12Mm"}, []key{'m'}},             // a mouse
		{false, []string{"\x1b[12\x1b[A"}, []key{keyUp}},             // a sequence that broke off
		{true, []string{"\x1b[", "s"}, []key{'s'}},                   // likewise, and a key after it
		{false, []string{"ä€🎵q"}, []key{'q'}},                        // nothing beyond ASCII
		{false, []string{"\x7f\x03\x04"}, []key{keyCtrlC, keyCtrlD}}, // backspace is no key here
		{false, []string{"\x1b[\xffs"}, []key{'s'}},                  // no sequence at all
		{false, []string{"\x1bO\x1b"}, []key{keyEsc}},                // and then Esc
		{false, []string{"\x1b[\x1b"}, []key{keyEsc}},                //
		{false, []string{"\x1b[200~q\x1b[201~"}, []key{'q'}},         // bracketed paste is not asked for
		{false, []string{"   "}, []key{' ', ' ', ' '}},               // repeats
		{false, []string{"\x1b\x1b[A"}, []key{keyEsc, keyUp}},        // Alt-Up of some terminals
	} {
		if got := keysOf(c.pause, c.reads...); !slices.Equal(got, c.want) {
			t.Errorf("%q: %v, not %v", c.reads, got, c.want)
		}
	}
}

func FuzzKeyParser(f *testing.F) {
	for _, s := range []string{"p", "\x1b", "\x1b[A", "\x1bOB", "\x1b[1;5A", "ä\x1b\x1b[", "\x1b[12\x1bq"} {
		f.Add([]byte(s), uint8(1))
	}
	f.Fuzz(func(t *testing.T, b []byte, cut uint8) {
		whole := keysOf(false, string(b))
		if len(whole) > len(b) {
			t.Fatalf("%d keys from %d bytes", len(whole), len(b))
		}
		n := min(int(cut), len(b))
		if parts := keysOf(false, string(b[:n]), string(b[n:])); !slices.Equal(whole, parts) {
			t.Fatalf("%q cut at %d: %v, not %v", b, n, parts, whole)
		}
		for _, k := range whole {
			if k > 0x7e || k < keyDown {
				t.Fatalf("key %d", k)
			}
		}
		// After a pause, what went before is forgotten.
		if after := keysOf(true, string(b), "q"); len(after) == 0 || after[len(after)-1] != 'q' {
			t.Fatalf("%q then q: %v", b, after)
		}
	})
}

func TestThrottle(t *testing.T) {
	begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	at := func(ms int) time.Time { return begin.Add(time.Duration(ms) * time.Millisecond) }
	var hold throttle
	if hold.held(at(0)) {
		t.Error("held before the first press")
	}
	// Pressed and kept down on a slow keyboard: 660 ms, then every 40 ms.
	hold.press(at(0))
	for ms := 0; ms < 660; ms += 20 {
		if !hold.held(at(ms)) {
			t.Fatalf("let go %d ms after the press", ms)
		}
	}
	last := 0
	for ms := 660; ms < 2000; ms += 40 {
		hold.press(at(ms))
		last = ms
		if !hold.held(at(ms + 39)) {
			t.Fatalf("let go at %d ms, while it repeats", ms)
		}
	}
	if !hold.held(at(last+149)) || hold.held(at(last+151)) {
		t.Error("not let go 150 ms after the last repeat")
	}
	// A single tap, long after.
	hold.press(at(5000))
	if !hold.held(at(5699)) || hold.held(at(5701)) {
		t.Error("a tap does not hold 700 ms")
	}
	hold.press(at(7000))
	hold.drop()
	if hold.held(at(7000)) {
		t.Error("held after a drop")
	}
}
