package mixplan

import (
	"errors"
	"fmt"
	"math"
	"strconv"
)

// How far and how fast a category may yield. Common practice, no source:
// music 6 to 12 dB, effects 3 to 9, an engine 4 to 9 and never to silence,
// because the player steers by it; nothing beyond 18. Ramps over some 200 dB/s
// are heard as a step, on a steady engine already from some 100 dB/s; a return
// faster than 60 dB/s pumps.
const (
	MaxDepthDB            = 18
	MaxEngineDepthDB      = 9
	MaxAttackDBPerS       = 200
	MaxEngineAttackDBPerS = 100
	MaxReleaseDBPerS      = 60
)

// bounds is the range of a number, ends included, with its unit.
type bounds struct {
	lo, hi float64
	unit   string
}

func (b bounds) String() string { return number(b.lo) + " to " + number(b.hi) + " " + b.unit }

var (
	gainBounds      = bounds{-60, 12, "dB"}
	trimBounds      = bounds{-60, 24, "dB"}
	depthBounds     = bounds{0, MaxDepthDB, "dB"}
	attackBounds    = bounds{5, 2000, "ms"}
	holdBounds      = bounds{0, 5000, "ms"}
	releaseBounds   = bounds{20, 10000, "ms"}
	lookaheadBounds = bounds{0, 1000, "ms"}
	dipBounds       = bounds{50, 20000, "Hz"}
)

const minDipRatio = 1.2

// slip is something wrong with a key of a duck.
type slip struct{ name, text, hint string }

func (s slip) String() string {
	out := s.name + " " + s.text
	if s.hint != "" {
		out += "; " + s.hint
	}
	return out
}

// Validate returns nil for a duck that the law can follow; else one line about
// the first thing wrong, without its place.
func (d Duck) Validate() error {
	if s := d.slips(); len(s) > 0 {
		return errors.New(s[0].String())
	}
	return nil
}

// slips finds everything that is wrong with a duck.
func (d Duck) slips() []slip {
	var out []slip
	ok := func(name string, v float64, b bounds) bool {
		if v >= b.lo && v <= b.hi {
			return true
		}
		out = append(out, slip{name, "must be " + b.String() + ", not " + number(v), ""})
		return false
	}
	if d.Under == d.Category {
		out = append(out, slip{"category", "must not be " + strconv.Quote(d.Category) + " itself", "a category cannot yield to itself"})
	}
	depth := ok("depth_db", d.DepthDB, depthBounds)
	if depth && d.Category == Engine && d.DepthDB > MaxEngineDepthDB {
		depth = false
		out = append(out, slip{"depth_db", fmt.Sprintf("must be at most %d dB for the engine, not %s", MaxEngineDepthDB, number(d.DepthDB)), "the player steers by it"})
	}
	attack := ok("attack_ms", d.AttackMS, attackBounds)
	ok("hold_ms", d.HoldMS, holdBounds)
	release := ok("release_ms", d.ReleaseMS, releaseBounds)
	ok("lookahead_ms", d.LookaheadMS, lookaheadBounds)
	steepest := float64(MaxAttackDBPerS)
	if d.Category == Engine {
		steepest = MaxEngineAttackDBPerS
	}
	ramp := func(name string, ms, most float64, hint string) {
		if least := d.DepthDB / most * 1000; ms < least*(1-1e-9) {
			out = append(out, slip{name, fmt.Sprintf("must be at least %.0f for a depth of %s dB, not %s", math.Ceil(least-1e-6), number(d.DepthDB), number(ms)),
				fmt.Sprintf("over %s dB/s it %s", number(most), hint)})
		}
	}
	if depth && attack {
		ramp("attack_ms", d.AttackMS, steepest, "is heard as a step")
	}
	if depth && release {
		ramp("release_ms", d.ReleaseMS, MaxReleaseDBPerS, "pumps")
	}
	if d.Dip != nil {
		low := ok("dip_low_hz", d.Dip.LowHz, dipBounds)
		if high := ok("dip_high_hz", d.Dip.HighHz, dipBounds); low && high && d.Dip.HighHz < minDipRatio*d.Dip.LowHz {
			out = append(out, slip{"dip_high_hz", fmt.Sprintf("must be at least %g times dip_low_hz (%s), not %s", minDipRatio, number(d.Dip.LowHz), number(d.Dip.HighHz)), ""})
		}
	}
	return out
}

// number writes x the way people do.
func number(x float64) string {
	if a := math.Abs(x); a == 0 || a >= 1e-4 && a < 1e15 {
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}
