package plot

import (
	"fmt"
	"math"
	"slices"
)

// windows holds the length of the analysis window, in frames, of every
// column of a spectrogram.
type windows []int

const (
	// A Hann window's main lobe is four bins wide. At four engine cycles the
	// lines of the cycle would just part; at six there is paper between them.
	windowCycles = 6
	shortestS    = 0.08
	longestS     = 0.6
	unknownS     = 0.15 // where there are no revs to go by
	mostCols     = 1200
	leastCols    = 64
	colsAWindow  = 48 // finer steps in time would show nothing new
)

// windows chooses the columns of the picture and a window for each: six
// engine cycles at the revs of that moment, so that a pull is sharp at both
// of its ends. Lengths move in steps of a quarter octave.
func (p Spectrogram) windows() windows {
	rate, length := float64(p.Sound.RateHz), p.Sound.DurationS()
	shortest := math.Inf(1)
	windowS := make([]float64, mostCols)
	for c := range windowS {
		s := unknownS
		if rpm := p.revsNear((float64(c) + 0.5) / mostCols * length); rpm > 0 {
			s = windowCycles / p.Layout.CycleHz(rpm)
		}
		s = math.Exp2(math.Round(4*math.Log2(s)) / 4)
		windowS[c] = math.Min(math.Max(shortestS, math.Min(longestS, s)), length)
		shortest = math.Min(shortest, windowS[c])
	}
	cols := int(math.Ceil(colsAWindow * length / shortest))
	cols = min(max(cols, leastCols), mostCols, p.Sound.Frames())
	out := make(windows, cols)
	for c := range out {
		out[c] = max(2, int(math.Round(windowS[c*mostCols/cols]*rate)))
	}
	return out
}

// revsNear returns the known revs nearest in time, 0 if there are none.
func (p Spectrogram) revsNear(atS float64) float64 {
	if p.Track == nil || p.Track.Len() == 0 {
		return 0
	}
	n := p.Track.Len()
	at := int(math.Round((atS - p.Track.StartS) / p.Track.HopS))
	at = max(0, min(n-1, at))
	for d := range n {
		for _, i := range []int{at - d, at + d} {
			if i >= 0 && i < n && p.Track.RPM[i] > 0 {
				return p.Track.RPM[i]
			}
		}
	}
	return 0
}

func (w windows) words(rateHz int) string {
	ms := func(n int) float64 { return 1000 * float64(n) / float64(rateHz) }
	lo, hi := ms(slices.Min(w)), ms(slices.Max(w))
	if lo == hi {
		return fmt.Sprintf("%.0f ms", lo)
	}
	return fmt.Sprintf("%.0f to %.0f ms with the revs", lo, hi)
}
