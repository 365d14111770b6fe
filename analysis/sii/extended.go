package sii

import (
	"fmt"
	"math"
	"slices"
)

// Course is the index along a callout.
type Course struct {
	Frame  []float64 // the index of each frame, 0..1; NaN where the speech is not active
	Active int       // number of active frames
	Mean   float64   // over active frames: the extended SII; NaN without any
	P10    float64   // 10th percentile of the active frames, see [Summary]
	Min    float64   // the worst active frame
}

// Extended returns the extended SII after Rhebergen and Versfeld (JASA 117,
// 2005): the index of every short frame, averaged over the frames in which
// there is speech. All bands share one frame length, 10 to 20 ms being
// suitable; the per-band windows of the original change little.
//
// speech holds spectrum levels in dB. With a single entry it is the long-term
// spectrum (see [LongTerm]) and stands for every frame, which is how the
// method was published and what its index means: the 30 dB range of equation
// (12) already stands for the ups and downs of speech about its long-term
// level. With one entry a frame the speech's own ups and downs count twice
// and the mean comes out lower; that form answers which moment is lost first.
//
// maskerPower holds power per hertz as in [Talker.IndexPower], one entry a
// frame. active may be nil: all frames. It panics when the lengths differ.
func Extended(l *Listener, speech []Levels, maskerPower []Masker, active []bool) Course {
	n := len(maskerPower)
	if len(speech) != 1 && len(speech) != n || active != nil && len(active) != n {
		panic(fmt.Sprintf("sii: Extended: %d speech frames, %d masker frames, %d marks", len(speech), n, len(active)))
	}
	c := Course{Frame: make([]float64, n)}
	var t Talker
	if len(speech) == 1 {
		t = l.Hear(speech[0])
	}
	heard := make([]float64, 0, n)
	for i := range maskerPower {
		if active != nil && !active[i] {
			c.Frame[i] = math.NaN()
			continue
		}
		if len(speech) != 1 {
			t = l.Hear(speech[i])
		}
		c.Frame[i] = t.IndexPower(&maskerPower[i])
		heard = append(heard, c.Frame[i])
	}
	c.Active = len(heard)
	c.Mean, c.P10, c.Min = Summary(heard)
	return c
}

// Summary returns mean, 10th percentile and minimum of index values; NaN
// without any. The percentile is linear between the two nearest of the
// sorted values, value r at rank r/(n-1). It sorts its argument and does not
// allocate.
func Summary(index []float64) (mean, p10, minimum float64) {
	if len(index) == 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	slices.Sort(index)
	for _, v := range index {
		mean += v
	}
	at := 0.1 * float64(len(index)-1)
	r := int(at)
	p10 = index[r]
	if r+1 < len(index) {
		p10 += (at - float64(r)) * (index[r+1] - index[r])
	}
	return mean / float64(len(index)), p10, index[0]
}

// LongTerm returns the long-term spectrum of active speech: the mean power of
// the active frames, per band, in dB. Without an active frame it is -Inf in
// every band. Pauses must be left out, or they would lower the level.
func LongTerm(speech []Levels, active []bool) Levels {
	var sum Levels
	n := 0
	for f := range speech {
		if active != nil && !active[f] {
			continue
		}
		n++
		for i, e := range speech[f] {
			sum[i] += math.Pow(10, e/10)
		}
	}
	for i, p := range sum {
		sum[i] = math.Inf(-1)
		if p > 0 {
			sum[i] = 10 * math.Log10(p/float64(n))
		}
	}
	return sum
}
