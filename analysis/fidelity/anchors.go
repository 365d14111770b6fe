package fidelity

import (
	"errors"
	"math"

	"tachbench/samples"
)

const (
	loopSeam    = 0.1   // share of the cycle faded into what came before it
	resampleXS  = 0.050 // crossfade where the resampled recording starts again
	resampleTop = 8.0   // fastest and slowest varispeed
)

// FrozenLoop is the poor note that repeats one single engine cycle of a
// source for ever: the cycle nearest to the mean of the requested revs, its
// end faded over a tenth into what preceded its start, turned at exactly the
// requested rate. It fails if the source has no whole cycle with one before
// it.
func FrozenLoop(source *Take, revs Revs, seconds float64) (*samples.Sound, error) {
	if !source.usable(3) {
		return nil, errors.New("a frozen loop needs a source of at least three cycles")
	}
	var mean float64
	for i := range 100 {
		mean += revs(seconds*float64(i)/99) / 100
	}
	at := source.places(1, 0)
	best, miss := -1, math.Inf(1)
	for j := 1; j+1 < len(at); j++ {
		hz := float64(source.RateHz) / (at[j+1] - at[j])
		if d := math.Abs(math.Log(source.Layout.RPM(hz) / mean)); d < miss {
			best, miss = j, d
		}
	}
	if best < 0 {
		return nil, errors.New("a frozen loop needs a whole cycle inside the source")
	}
	start, period := at[best], at[best+1]-at[best]
	out := samples.NewSound(source.RateHz, 1, int(seconds*float64(source.RateHz)))
	turn := FromRender(out, revs, source.Layout).Phase
	for i, p := range turn {
		_, u := math.Modf(p)
		step := p - turn[max(0, i-1)]
		v := readAt(source.X, start+u*period, step*period)
		if w := (u - (1 - loopSeam)) / loopSeam; w > 0 {
			v += w * (readAt(source.X, start+(u-1)*period, step*period) - v)
		}
		out.Chans[0][i] = v
	}
	return out, nil
}

// PlainResample is the poor note that plays the one source nearest to the
// requested revs at a varying speed, so that its revs follow the request,
// and starts it again with a 50 ms crossfade when it ends. Nearest means the
// smallest mean distance of log revs between the request and the source's
// mean. The speed is the requested over the source's own cycle rate at the
// place being played, kept within 1/8 and 8.
func PlainResample(sources []*Take, revs Revs, seconds float64) (*samples.Sound, error) {
	src := nearest(sources, revs, seconds)
	if src == nil || src.DurationS() < 4*resampleXS {
		return nil, errors.New("plain resampling needs a source of at least three cycles and 0.2 s")
	}
	rate := float64(src.RateHz)
	out := samples.NewSound(src.RateHz, 1, int(seconds*rate))
	// The speed looks at the phase over a few milliseconds: a track's kinks
	// would be heard otherwise.
	span := max(1, int(0.02*rate))
	end := float64(len(src.X) - 1)
	fade := resampleXS * rate
	place, old := 0.0, math.Inf(1)
	for i := range out.Chans[0] {
		step := playStep(src, revs(float64(i)/rate), place, span)
		v := readAt(src.X, place, step)
		// The new start comes in over its first 50 ms.
		if w := place / fade; w < 1 && old <= end {
			v = w*v + (1-w)*readAt(src.X, old, step)
			old += step
		} else {
			old = math.Inf(1)
		}
		out.Chans[0][i] = v
		place += step
		if place > end-fade-step && math.IsInf(old, 0) {
			place, old = 0, place
		}
	}
	return out, nil
}

// nearest returns the take of at least three cycles whose mean revs have the
// smallest mean distance, in log revs, to the request; nil if there is none.
func nearest(sources []*Take, revs Revs, seconds float64) *Take {
	var src *Take
	best := math.Inf(1)
	for _, s := range sources {
		if !s.usable(3) {
			continue
		}
		var d float64
		for i := range 100 {
			d += math.Abs(math.Log(revs(seconds*float64(i)/99) / s.RPM()))
		}
		if d < best {
			src, best = s, d
		}
	}
	return src
}

// playStep returns how many source samples pass per output sample.
func playStep(src *Take, rpm, place float64, span int) float64 {
	a := min(max(int(place)-span/2, 0), len(src.Phase)-1)
	b := min(a+span, len(src.Phase)-1)
	a = max(0, b-span)
	own := (src.Phase[b] - src.Phase[a]) * float64(src.RateHz) / float64(b-a)
	step := src.Layout.CycleHz(rpm) / own
	if math.IsNaN(step) {
		return 1
	}
	return math.Max(1/resampleTop, math.Min(resampleTop, step))
}
