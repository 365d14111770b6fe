package scene

import (
	"math"

	"tachbench/samples"
)

// Span is a stretch of time in seconds.
type Span struct{ FromS, ToS float64 }

// Constants of the search for speech. The first two are those of ITU-T P.56
// method B; see the package comment for the others.
const (
	marginDB  = 15.9
	hangoverS = 0.2

	frameS     = 0.010
	leadS      = 0.030
	tailS      = 0.050
	quietDBFS  = -70
	levelSteps = 50
)

// Active returns when a sound speaks, in order and apart from each other;
// none for silence.
func Active(s *samples.Sound) []Span {
	power := framePowers(s)
	floor := samples.DBPower(quietDBFS)
	loudest := 0.0
	for _, p := range power {
		loudest = math.Max(loudest, p)
	}
	if loudest < floor {
		return nil
	}
	limit := math.Max(floor, activePower(power)*samples.DBPower(-marginDB))
	var out []Span
	end := s.DurationS()
	for i, p := range power {
		if p < limit {
			continue
		}
		// The bridge is measured on the bare stretches, before they are widened.
		from, to := float64(i)*frameS, float64(i+1)*frameS
		if n := len(out); n > 0 && from-out[n-1].ToS <= hangoverS+1e-9 {
			out[n-1].ToS = to
		} else {
			out = append(out, Span{from, to})
		}
	}
	for i := range out {
		out[i].FromS = math.Max(0, out[i].FromS-leadS)
		out[i].ToS = math.Min(end, out[i].ToS+tailS)
	}
	return out
}

// Speaks is Active for a sound as its file holds it, of any number of
// channels: what a scene with that file goes by.
func Speaks(file *samples.Sound) []Span {
	s := samples.NewSound(file.RateHz, file.Channels(), file.Frames())
	s.Mask = file.Mask
	for c, x := range file.Chans {
		samples.Scrub(s.Chans[c], x)
	}
	return Active(Fold(s))
}

// activePower solves P = mean of the frames within the margin under P. From
// all frames on, each step leaves quieter ones out and so raises P, until
// nothing changes.
func activePower(power []float64) float64 {
	limit := 0.0
	for range levelSteps {
		sum, n := 0.0, 0
		for _, p := range power {
			if p > 0 && p >= limit {
				sum += p
				n++
			}
		}
		next := sum / float64(n) * samples.DBPower(-marginDB)
		if next == limit {
			break
		}
		limit = next
	}
	return limit / samples.DBPower(-marginDB)
}

// framePowers returns the mean power of every started 10 ms, the loudest
// channel counting.
func framePowers(s *samples.Sound) []float64 {
	frames := s.Frames()
	n := int(math.Ceil(s.DurationS()/frameS - 1e-9))
	out := make([]float64, n)
	for i := range out {
		from := int(math.Round(float64(i) * frameS * float64(s.RateHz)))
		to := min(frames, int(math.Round(float64(i+1)*frameS*float64(s.RateHz))))
		if to <= from {
			continue
		}
		for _, ch := range s.Chans {
			var sum float64
			for _, v := range ch[from:to] {
				sum += v * v
			}
			out[i] = math.Max(out[i], sum/float64(to-from))
		}
	}
	return out
}
