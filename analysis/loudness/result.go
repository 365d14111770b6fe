package loudness

import (
	"math"
	"slices"
)

// Gates: BS.1770-5 Annex 1 (integrated loudness), Tech 3342 section 5 (range).
const (
	absoluteGateLUFS  = -70
	relativeGateLU    = 10
	rangeGateLU       = 20
	rangeLowPercent   = 10
	rangeHighPercent  = 95
	rangeSettledAfter = 60 // s; Tech 3341 section 2
)

// Reasons why a reading is absent.
const (
	ReasonTooShortForBlock     = "shorter than 0.4 s"
	ReasonTooShortForShortTerm = "shorter than 3 s"
	ReasonTooQuiet             = "quieter than −70 LUFS"
	ReasonSilent               = "silent"
)

// Reading is a number or the reason why there is none.
type Reading struct {
	Value  float64 // NaN if absent
	Absent string  // why there is no value; empty if there is one
}

// OK reports whether there is a value.
func (r Reading) OK() bool { return r.Absent == "" }

func absent(reason string) Reading { return Reading{Value: math.NaN(), Absent: reason} }

// Result holds what was measured of everything written so far.
type Result struct {
	IntegratedLUFS   Reading
	RangeLU          Reading
	MomentaryMaxLUFS Reading // ungated
	ShortTermMaxLUFS Reading // ungated

	// Where the loudest window starts, in seconds; 0 if there is none.
	MomentaryMaxAtS, ShortTermMaxAtS float64

	// RangeSettled is false under 60 s: the range is then unstable (Tech 3341).
	RangeSettled bool
	// Unusable counts samples measured as silence, see samples.Usable.
	Unusable int64
}

// Result may be called at any time and changes nothing.
func (m *Meter) Result() Result {
	r := Result{
		IntegratedLUFS: m.integrated(),
		RangeLU:        m.loudnessRange(),
		RangeSettled:   m.frames >= rangeSettledAfter*int64(m.rateHz),
		Unusable:       m.unusable,
	}
	r.MomentaryMaxLUFS, r.MomentaryMaxAtS = m.momentary.read(momentaryTenth, ReasonTooShortForBlock)
	r.ShortTermMaxLUFS, r.ShortTermMaxAtS = m.shortTerm.read(shortTermTenth, ReasonTooShortForShortTerm)
	return r
}

func (x maximum) read(tenths int64, tooShort string) (Reading, float64) {
	switch {
	case x.step == 0:
		return absent(tooShort), 0
	case x.power <= 0:
		return absent(ReasonSilent), 0
	}
	return Reading{Value: lufs(x.power)}, float64(x.step-tenths*stepsPerTenth) / stepsPerSecond
}

func lufs(power float64) float64        { return -offsetLU + 10*math.Log10(power) }
func powerOf(levelLUFS float64) float64 { return math.Pow(10, (levelLUFS+offsetLU)/10) }

// windows returns the mean power of every window of so many tenths of a
// second, stepped by 100 ms.
func (m *Meter) windows(tenths int) []float64 {
	n := len(m.history) - tenths + 1
	if n <= 0 {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		var sum float64
		for _, e := range m.history[i : i+tenths] {
			sum += e
		}
		from, to := int64(i)*stepsPerTenth, int64(i+tenths)*stepsPerTenth
		out[i] = sum / float64(m.frameOf(to)-m.frameOf(from))
	}
	return out
}

// ShortTermLUFS returns short-term loudness every 100 ms; value i covers
// i/10 s to i/10+3 s. Digital silence is -Inf. Nil if shorter than 3 s.
func (m *Meter) ShortTermLUFS() []float64 { return m.series(shortTermTenth) }

// MomentaryLUFS returns momentary loudness every 100 ms; value i covers i/10 s
// to i/10+0.4 s. Digital silence is -Inf. Nil if shorter than 0.4 s.
func (m *Meter) MomentaryLUFS() []float64 { return m.series(momentaryTenth) }

func (m *Meter) series(tenths int) []float64 {
	s := m.windows(tenths)
	for i, p := range s {
		s[i] = lufs(p)
	}
	return s
}

// integrated follows BS.1770-5 Annex 1 eq. (3) to (7). Powers are averaged,
// never decibels; both gates are strict.
func (m *Meter) integrated() Reading {
	z := m.windows(momentaryTenth)
	if len(z) == 0 {
		return absent(ReasonTooShortForBlock)
	}
	gate := powerOf(absoluteGateLUFS)
	mean, n := meanAbove(z, gate)
	if n == 0 {
		return absent(ReasonTooQuiet)
	}
	mean, _ = meanAbove(z, max(gate, mean*math.Pow(10, -relativeGateLU/10.0)))
	return Reading{Value: lufs(mean)}
}

func meanAbove(z []float64, gate float64) (mean float64, n int) {
	var sum float64
	for _, p := range z {
		if p > gate {
			sum += p
			n++
		}
	}
	return sum / float64(n), n
}

func (m *Meter) loudnessRange() Reading {
	s := m.windows(shortTermTenth)
	if len(s) == 0 {
		return absent(ReasonTooShortForShortTerm)
	}
	for i, p := range s {
		s[i] = lufs(p)
	}
	if lra, ok := RangeLU(s); ok {
		return Reading{Value: lra}
	}
	return absent(ReasonTooQuiet)
}

// RangeLU is the loudness range of short-term values (LUFS, any order) after
// Tech 3342 section 5; Meter gives it one value every 100 ms. It reports false
// if none reaches -70 LUFS. The slice is not changed.
func RangeLU(shortTermLUFS []float64) (float64, bool) {
	kept := make([]float64, 0, len(shortTermLUFS))
	var sum float64
	for _, s := range shortTermLUFS {
		if s >= absoluteGateLUFS { // ">=" here, ">" in BS.1770
			kept = append(kept, s)
			sum += math.Pow(10, s/10)
		}
	}
	if len(kept) == 0 {
		return 0, false
	}
	gate := 10*math.Log10(sum/float64(len(kept))) - rangeGateLU
	slices.Sort(kept)
	first, _ := slices.BinarySearch(kept, gate)
	kept = kept[first:]
	at := func(percent int) float64 { return kept[((len(kept)-1)*percent+50)/100] }
	return at(rangeHighPercent) - at(rangeLowPercent), true
}
