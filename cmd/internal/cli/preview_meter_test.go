package cli

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/jedib0t/go-pretty/v6/text"

	"tachbench/mixplan/listen"
)

func TestMeterLineIsOfOneWidth(t *testing.T) {
	if w := text.StringWidth(meterHead); w > meterWidth {
		t.Errorf("the head is %d columns", w)
	}
	values := []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, -0.04, 1, -18.34, 99.96, 8123, 123456789, -1e300, math.MaxFloat64}
	for _, name := range []string{"", "launch", "an uncommonly long name of a scene", "山岳救助隊の倉庫の場面", "a\nb\x1b[2J"} {
		for _, v := range values {
			for _, on := range []bool{false, true} {
				s := listen.Snapshot{
					Scene: name, Playing: on, PositionS: v, Silenced: on, HasPlan: on, Planned: on, Hall: on, Cabinet: on, Looping: on,
					RPM: v, Lever: v, VolumeDB: v, MomentaryLUFS: v, TruePeakDBTP: v, LimitedDB: v, SII: v,
				}
				line := meterLine(s, on)
				if w := text.StringWidth(line); w != meterWidth {
					t.Fatalf("%d columns: %q", w, line)
				}
				if strings.ContainsAny(line, "\n\r\x1b") {
					t.Fatalf("%q", line)
				}
			}
		}
	}
}

func TestMeterLine(t *testing.T) {
	s := listen.Snapshot{
		Scene: "launch", Playing: true, PositionS: 12.34, HasPlan: true, Planned: true, Hall: true, Looping: true,
		RPM: 4350.4, Lever: 0.6, VolumeDB: -30, MomentaryLUFS: -18.34, TruePeakDBTP: -3.21, LimitedDB: 0, SII: 0.456,
	}
	want := "" +
		"  RPM lever scene           at s mix       LUFS   dBTP limit  vol   SII with\n" +
		" 4350  60 % launch          12.3 planned  -18.3   -3.2   0.0  -30  0.46 hm  "
	s.Looping = false
	if got := meterHead + "\n" + meterLine(s, true); got != want {
		t.Errorf("\n%s\nnot\n%s", got, want)
	}
	// The columns stand under their names.
	for _, c := range [][2]string{{"RPM", "4350"}, {"LUFS", "-18.3"}, {"dBTP", "-3.2"}, {"limit", "0.0"}, {"vol", "-30"}, {"SII", "0.46"}, {"at s", "12.3"}} {
		head, line, _ := strings.Cut(want, "\n")
		if a, b := strings.Index(head, c[0])+len(c[0]), strings.Index(line, c[1])+len(c[1]); a != b {
			t.Errorf("%s ends in column %d, %s in %d", c[0], a, c[1], b)
		}
	}
}

// A terminal that shows what a screen writes: the last line, and those above.
func show(written string) []string {
	lines := []string{""}
	column := 0
	for _, r := range written {
		last := &lines[len(lines)-1]
		switch r {
		case '\r':
			column = 0
		case '\n':
			lines = append(lines, "")
		default:
			row := []rune(*last)
			for len(row) <= column {
				row = append(row, ' ')
			}
			row[column] = r
			*last = string(row)
			column++
		}
	}
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return lines
}

func TestScreen(t *testing.T) {
	t.Setenv("NO_COLOR", "1")
	var out bytes.Buffer
	columns := 80
	s := &screen{w: &out, newline: "\r\n", columns: func() int { return columns }}
	s.say("help")
	s.meter("one figure and a long tail")
	s.meter("two")
	s.meter("two")
	s.say("a message")
	s.meter("three")
	s.end()
	s.end()
	want := []string{"help", meterHead, "a message", meterHead, "three", ""}
	if got := show(out.String()); strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("%q, not %q", got, want)
	}
	if strings.Contains(out.String(), "\x1b") {
		t.Error("an escape sequence")
	}
	// A narrow terminal does not wrap.
	out.Reset()
	columns = 40
	s.say()
	s.meter(meterLine(listen.Snapshot{}, false))
	for _, l := range show(out.String()) {
		if len(l) > 39 {
			t.Errorf("%d columns: %q", len(l), l)
		}
	}
}
