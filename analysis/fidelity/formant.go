package fidelity

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/dsp/fourier"
)

const (
	formantLowHz    = 200.0
	formantHighHz   = 7000.0
	formantFirings  = 4     // below this many firing rates the lines are too sparse
	formantPerOct   = 96    // points an octave of the envelope
	formantWindow   = 0.25  // octaves on each side of a peak that are matched
	formantReach    = 0.20  // octaves a peak is looked for on each side: 15 %
	formantWideOct  = 1.0   // the slope of the spectrum is its mean over this many octaves
	formantPeakDB   = 1.0   // how far a peak must rise from the lower of its surroundings
	formantSplitOct = 0.25  // peaks closer than this count as one
	formantLeast    = 1e-12 // keeps empty spectra finite
)

// Formant is one peak of the spectral envelope.
type Formant struct {
	Hz        float64
	RiseDB    float64   // above the slope of the spectrum around it
	MovedTo   []float64 // Hz in each of the other takes
	MovePct   float64   // largest |move| in percent
	PlainMove float64   // percent it would move if it followed the revs
}

// FormantResult tells whether resonances stay while the revs move.
type FormantResult struct {
	Formants []Formant // the strongest three, strongest first
	WorstPct float64   // largest move of them
}

// FormantHold follows the three strongest peaks of the spectral envelope of
// a render to renders of the same note at other revs (±10 % in the engine
// reference, section 4, row vii) and gives how far they move. A true note
// keeps them; plain resampling moves them with the revs.
//
// The envelope is the long-term power spectrum smoothed over twice the mean
// firing rate (a Hann kernel, under which evenly spaced lines vanish), in dB
// on a log frequency scale, minus its own mean over an octave. A peak's move
// is the shift that matches best (largest normalised correlation) within a
// quarter octave around it. Only peaks from four times the firing rate of
// the fastest take, at least 200 Hz, to 7 kHz are used: below, lines are too
// far apart for a place to be told. Steady takes of 3 s or more, or better
// slow glides of a few percent, which fill the gaps between the lines. NaN
// if there is no peak that rises 1 dB.
func FormantHold(at *Take, others ...*Take) FormantResult {
	r := FormantResult{WorstPct: math.NaN()}
	low := formantLowHz
	high := formantHighHz
	for _, t := range append([]*Take{at}, others...) {
		if !t.usable(8) {
			return r
		}
		low = math.Max(low, formantFirings*t.CycleHz()*float64(t.Layout.Cylinders))
		high = math.Min(high, 0.45*float64(t.RateHz))
	}
	n := int(math.Log2(high/low) * formantPerOct)
	if n < formantPerOct || len(others) == 0 {
		return r
	}
	mid := spectralEnvelope(at, low, n)
	var rest [][]float64
	for _, t := range others {
		rest = append(rest, spectralEnvelope(t, low, n))
	}
	for _, p := range strongestPeaks(mid, 3) {
		f := Formant{Hz: low * math.Exp2(float64(p)/formantPerOct), RiseDB: mid[p]}
		for i, e := range rest {
			oct := bestShift(mid, e, p) / formantPerOct
			f.MovedTo = append(f.MovedTo, f.Hz*math.Exp2(oct))
			f.MovePct = math.Max(f.MovePct, math.Abs(math.Exp2(oct)-1)*100)
			f.PlainMove = math.Max(f.PlainMove, math.Abs(others[i].CycleHz()/at.CycleHz()-1)*100)
		}
		r.Formants = append(r.Formants, f)
		if !(f.MovePct <= r.WorstPct) {
			r.WorstPct = f.MovePct
		}
	}
	return r
}

// spectralEnvelope returns n points from low upwards, formantPerOct an
// octave, in dB with the slope removed.
func spectralEnvelope(t *Take, low float64, n int) []float64 {
	size := min(colourFrame(t.RateHz), goodLength(len(t.X)))
	fft := fourier.NewFFT(size)
	win := hann(size)
	buf, spec := make([]float64, size), make([]complex128, size/2+1)
	power := make([]float64, size/2+1)
	for at := 0; at+size <= len(t.X); at += size / 2 {
		for i, w := range win {
			buf[i] = t.X[at+i] * w
		}
		for i, c := range fft.Coefficients(spec, buf) {
			power[i] += real(c)*real(c) + imag(c)*imag(c)
		}
	}
	stepHz := float64(t.RateHz) / float64(size)
	half := t.CycleHz() * float64(t.Layout.Cylinders) * 1.0 / stepHz // bins: half the kernel
	env := make([]float64, n)
	for i := range env {
		c := low * math.Exp2(float64(i)/formantPerOct) / stepHz
		var s, w float64
		for k := max(1, int(c-half)); k <= min(len(power)-1, int(c+half)+1); k++ {
			if d := math.Abs(float64(k)-c) / half; d < 1 {
				h := 0.5 + 0.5*math.Cos(math.Pi*d)
				s, w = s+h*power[k], w+h
			}
		}
		env[i] = 10 * math.Log10(s/w+formantLeast)
	}
	wide := int(formantWideOct * formantPerOct / 2)
	out := make([]float64, n)
	for i := range env {
		a, b := max(0, i-wide), min(n, i+wide+1)
		var m float64
		for _, v := range env[a:b] {
			m += v
		}
		out[i] = env[i] - m/float64(b-a)
	}
	return out
}

func strongestPeaks(env []float64, most int) []int {
	split := int(formantSplitOct * formantPerOct)
	var all []int
	for i := split; i < len(env)-split; i++ {
		top := true
		lowL, lowR := env[i], env[i]
		for d := 1; d <= split; d++ {
			top = top && env[i] >= env[i-d] && env[i] > env[i+d]
			lowL, lowR = math.Min(lowL, env[i-d]), math.Min(lowR, env[i+d])
		}
		if top && env[i]-math.Max(lowL, lowR) >= formantPeakDB {
			all = append(all, i)
		}
	}
	sort.SliceStable(all, func(a, b int) bool { return env[all[a]] > env[all[b]] })
	return all[:min(most, len(all))]
}

// bestShift returns by how many points b lies above a around p, by parabola
// between points.
func bestShift(a, b []float64, p int) float64 {
	half := int(formantWindow * formantPerOct)
	reach := int(math.Round(formantReach * formantPerOct))
	from, to := max(0, p-half), min(len(a), p+half+1)
	score := func(s int) float64 {
		var ma, mb float64
		n := 0.0
		for i := from; i < to; i++ {
			if j := i + s; j >= 0 && j < len(b) {
				ma, mb, n = ma+a[i], mb+b[j], n+1
			}
		}
		ma, mb = ma/n, mb/n
		var ab, aa, bb float64
		for i := from; i < to; i++ {
			if j := i + s; j >= 0 && j < len(b) {
				x, y := a[i]-ma, b[j]-mb
				ab, aa, bb = ab+x*y, aa+x*x, bb+y*y
			}
		}
		if aa == 0 || bb == 0 {
			return 0
		}
		return ab / math.Sqrt(aa*bb)
	}
	best, at := math.Inf(-1), 0
	for s := -reach; s <= reach; s++ {
		if v := score(s); v > best {
			best, at = v, s
		}
	}
	l, c, r := score(at-1), best, score(at+1)
	if d := l - 2*c + r; d < 0 {
		return float64(at) + math.Max(-0.5, math.Min(0.5, 0.5*(l-r)/d))
	}
	return float64(at)
}
