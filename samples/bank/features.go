package bank

import (
	"math"

	"tachbench/samples"
)

const (
	cutPoints  = 32   // points of the waveform kept around a cut
	cutReach   = 0.15 // cycles before and after a cut that they cover
	localReach = 8    // cycles before and after that make a grain's surroundings
	edgeMargin = 0.4  // cycles of sound needed beyond both cuts of a grain

	// maxPeriodDeviation drops a cycle whose length differs this much from the
	// mean of itself and its neighbours: the phase slipped there.
	maxPeriodDeviation = 0.05
	// maxLevelDeviationDB drops a cycle this much above or below its
	// surroundings: a knock, a word, a hole (common practice, no source).
	maxLevelDeviationDB = 9
)

// bandCount octave bands describe the colour of a grain.
const bandCount = 7

// bandHz are the centres of the colour bands.
var bandHz = [bandCount]float64{90, 180, 360, 720, 1440, 2880, 5760}

// filterBands makes the running energies of the colour bands. The filters are
// second-order band-passes of one octave (RBJ cookbook form, constant peak
// gain); they only serve to compare grains with each other.
func (t *take) filterBands() {
	const q = math.Sqrt2
	for k, f := range bandHz {
		if f > 0.45*t.rateHz {
			continue
		}
		w := 2 * math.Pi * f / t.rateHz
		alpha := math.Sin(w) / (2 * q)
		g := alpha / (1 + alpha)
		a1 := -2 * math.Cos(w) / (1 + alpha)
		a2 := (1 - alpha) / (1 + alpha)
		run := make([]float64, (len(t.mono)+bandStride-1)/bandStride+1)
		var x1, x2, y1, y2, sum float64
		for i, x := range t.mono {
			y := g*(x-x2) - a1*y1 - a2*y2
			x2, x1, y2, y1 = x1, x, y1, y
			sum += y * y
			if (i+1)%bandStride == 0 {
				run[(i+1)/bandStride] = sum
			}
		}
		run[len(run)-1] = sum
		t.bands[k] = run
	}
}

// bandStride thins the running band energies: a grain is many times longer.
const bandStride = 16

// cut adds the grains of a stretch to a layer.
func (b *Bank) cut(l *Layer, s *stretch, t *take) {
	at := b.CutPhase - s.offset
	pos := s.positions(at - math.Floor(at))
	if len(pos) < 3 {
		return
	}
	frames := float64(len(t.mono))
	base := len(b.cuts)
	for i := range pos {
		period := pos[min(i+1, len(pos)-1)] - pos[min(i, len(pos)-2)]
		b.cuts = append(b.cuts, cutShape(t, pos[i], period))
	}
	levels := make([]float64, len(pos)-1)
	for i := range levels {
		levels[i] = mean(t.power, pos[i], pos[i+1])
	}
	last := -1 // index in the layer of the previous cycle if it was kept
	for i := 0; i+1 < len(pos); i++ {
		a, e := pos[i], pos[i+1]
		period := e - a
		lo, hi := max(0, i-localReach), min(len(levels), i+localReach+1)
		var local float64
		for _, v := range levels[lo:hi] {
			local += v
		}
		local /= float64(hi - lo)
		j, k := max(0, i-1), min(len(pos)-1, i+2)
		around := (pos[k] - pos[j]) / float64(k-j)
		keep := a-edgeMargin*period >= 0 && e+edgeMargin*period <= frames &&
			math.Abs(period/around-1) < maxPeriodDeviation && levels[i] > 0 &&
			math.Abs(samples.PowerDB(levels[i]/local)) < maxLevelDeviationDB
		if !keep {
			last = -1
			continue
		}
		rpm := b.Layout.RPM(t.rateHz / period)
		g := Grain{
			Rec: s.rec, Start: a, End: e, RPM: rpm, LnRPM: math.Log(rpm),
			LocalDB: samples.PowerDB(local), LevelDB: samples.PowerDB(levels[i]),
			Next: -1, Cut: base + i,
		}
		if hi-lo >= 4 {
			first := pos[lo+1] - pos[lo]
			final := pos[hi] - pos[hi-1]
			span := (pos[hi-1] + pos[hi] - pos[lo] - pos[lo+1]) / 2 / t.rateHz
			g.Slope = math.Log(first/final) / span
		}
		for k := range g.Bands {
			g.Bands[k] = float32(t.bandDB(k, a, e))
		}
		if last >= 0 {
			l.Grains[last].Next = len(l.Grains)
		}
		last = len(l.Grains)
		l.Grains = append(l.Grains, g)
	}
}

// bandDB returns the level of a colour band from frame a to e, dB, relative
// to the whole band level of the grain, floored at -60.
func (t *take) bandDB(k int, a, e float64) float64 {
	const floor = -60
	if t.bands[k] == nil {
		return floor
	}
	p := mean(t.bands[k], a/bandStride, e/bandStride) / bandStride
	total := mean(t.power, a, e)
	if p <= 0 || total <= 0 {
		return floor
	}
	return math.Max(floor, samples.PowerDB(p/total))
}

// cutShape returns the waveform around a cut as means over short stretches,
// scaled to an RMS of 1 against the cycles beside it.
func cutShape(t *take, pos, period float64) (out [cutPoints]float32) {
	rms := math.Sqrt(mean(t.power, pos-period, pos+period))
	if rms == 0 {
		return out
	}
	step := 2 * cutReach * period / cutPoints
	from := pos - cutReach*period
	for i := range out {
		x := from + float64(i)*step
		out[i] = float32(mean(t.sum, x, x+step) / rms)
	}
	return out
}

// JoinDistance returns how unlike the sound around two cuts is, 0 for the
// same cut, about 1 for unrelated sound: the mean squared difference of their
// waveforms over half the sum of their powers.
func (b *Bank) JoinDistance(cutA, cutB int) float64 {
	if cutA == cutB {
		return 0
	}
	x, y := &b.cuts[cutA], &b.cuts[cutB]
	var d, p float32
	for i := range x {
		e := x[i] - y[i]
		d += e * e
		p += x[i]*x[i] + y[i]*y[i]
	}
	if p == 0 {
		return 0
	}
	return float64(d / p)
}
