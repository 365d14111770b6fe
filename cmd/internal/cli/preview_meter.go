package cli

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/jedib0t/go-pretty/v6/text"

	"tachbench/cmd/internal/report"
	"tachbench/mixplan/listen"
)

// meterWidth is that of the meter, columns.
const meterWidth = 76

// meterHead stands once above the meter and names its columns: all figures
// but vol are of the machine, before the headphones.
const meterHead = "  RPM lever scene           at s mix       LUFS   dBTP limit  vol   SII with"

// meterLine shows a snapshot under meterHead, always meterWidth columns wide.
// mute is set when the person has muted the engine, or all.
func meterLine(s listen.Snapshot, mute bool) string {
	name, at := "-", "-"
	if s.Playing && s.Scene != "" {
		name, at = report.Printable(s.Scene), number(s.PositionS, 6, 1)
	}
	mix := "plain"
	switch {
	case s.Silenced:
		mix = "silence"
	case s.HasPlan && s.Planned:
		mix = "planned"
	}
	with := ""
	for _, w := range []struct {
		on     bool
		letter string
	}{{s.Hall, "h"}, {s.Cabinet, "c"}, {s.Looping, "l"}, {mute, "m"}} {
		if w.on {
			with += w.letter
		}
	}
	line := strings.Join([]string{
		right(number(s.RPM, 5, 0), 5),
		right(number(100*s.Lever, 3, 0)+" %", 5),
		left(name, 13),
		right(at, 6),
		left(mix, 7),
		right(number(s.MomentaryLUFS, 6, 1), 6),
		right(number(s.TruePeakDBTP, 6, 1), 6),
		right(number(s.LimitedDB, 5, 1), 5),
		right(number(s.VolumeDB, 4, 0), 4),
		right(number(s.SII, 5, 2), 5),
		left(with, 4),
	}, " ")
	return left(line, meterWidth)
}

// number prints v in at most width characters, - where there is nothing: no
// number, or a level so low that it is the remains of arithmetic.
func number(v float64, width, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) || v < -150 {
		return "-"
	}
	t := fmt.Sprintf("%.*f", decimals, v)
	if strings.Trim(t, "-0.") == "" {
		t = strings.TrimPrefix(t, "-") // no minus nought
	}
	if len(t) > width {
		return strings.Repeat("*", width)
	}
	return t
}

func right(s string, width int) string {
	return strings.Repeat(" ", max(0, width-text.StringWidth(s))) + s
}

// left pads or cuts to the width; a cut ends in a tilde.
func left(s string, width int) string {
	if text.StringWidth(s) > width {
		s = text.Trim(s, width-1)
		s += "~"
	}
	return s + strings.Repeat(" ", max(0, width-text.StringWidth(s)))
}

// screen writes lines above a meter that stays on the last one. It uses no
// escape sequences and no colour.
type screen struct {
	w       io.Writer
	newline string     // "\r\n" in raw mode
	columns func() int // of the terminal
	drawn   int        // columns of the meter on the last line
	last    string
}

// say writes lines, and names the meter's columns again.
func (s *screen) say(lines ...string) {
	var b strings.Builder
	s.wipe(&b)
	for _, l := range lines {
		b.WriteString(l + s.newline)
	}
	b.WriteString(s.cut(meterHead) + s.newline)
	s.drawn, s.last = 0, ""
	_, _ = io.WriteString(s.w, b.String()) // a meter that cannot be drawn stops no sound
}

// meter draws the line in the place of the one before.
func (s *screen) meter(line string) {
	line = s.cut(line)
	if line == s.last {
		return
	}
	width := text.StringWidth(line)
	_, _ = io.WriteString(s.w, "\r"+line+strings.Repeat(" ", max(0, s.drawn-width)))
	s.drawn, s.last = width, line
}

// end leaves the meter where it is, and the cursor below.
func (s *screen) end() {
	if s.drawn > 0 {
		_, _ = io.WriteString(s.w, s.newline)
		s.drawn = 0
	}
}

func (s *screen) wipe(b *strings.Builder) {
	if s.drawn > 0 {
		b.WriteString("\r" + strings.Repeat(" ", s.drawn) + "\r")
	}
}

// cut keeps a line off the last column, which wraps on some terminals.
func (s *screen) cut(line string) string {
	if most := s.columns() - 1; most > 0 && text.StringWidth(line) > most {
		return text.Trim(line, most)
	}
	return line
}
