package plot

import (
	"math"
	"strconv"
	"strings"
)

// scale maps a range of values to a range of picture units.
type scale struct {
	from, to float64 // values
	a, b     float64 // units: from lies at a, to lies at b
	log      bool
}

// at returns where v lies; it may be outside a..b.
func (s scale) at(v float64) float64 {
	return s.a + s.share(v)*(s.b-s.a)
}

func (s scale) share(v float64) float64 {
	if s.log {
		return math.Log(v/s.from) / math.Log(s.to/s.from)
	}
	return (v - s.from) / (s.to - s.from)
}

// value is the inverse of at, by share 0..1 of the way from a to b.
func (s scale) value(share float64) float64 {
	if s.log {
		return s.from * math.Pow(s.to/s.from, share)
	}
	return s.from + share*(s.to-s.from)
}

// ticks returns round values inside the scale: about n of them on a linear
// one, the 1-2-5 series on a logarithmic one.
func (s scale) ticks(n int) []float64 {
	var out []float64
	if s.log {
		for decade := math.Pow(10, math.Floor(math.Log10(s.from))); decade <= s.to; decade *= 10 {
			for _, m := range []float64{1, 2, 5} {
				if v := decade * m; v >= s.from && v <= s.to {
					out = append(out, v)
				}
			}
		}
		return out
	}
	step := roundStep((s.to - s.from) / float64(n))
	for i := math.Ceil(s.from/step - 1e-9); i*step <= s.to+step*1e-9; i++ {
		out = append(out, i*step)
	}
	return out
}

// roundStep returns the smallest 1, 2 or 5 times a power of ten that is not
// below step.
func roundStep(step float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(step)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= step*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// label writes a tick value without noise digits and with a true minus sign.
func label(v float64) string {
	v = math.Round(v*1e6) / 1e6
	if v == 0 {
		return "0" // never "-0"
	}
	return strings.Replace(strconv.FormatFloat(v, 'f', -1, 64), "-", "−", 1)
}
