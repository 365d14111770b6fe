package demo

import (
	"math"
	"math/rand/v2"

	"tachbench/samples"
)

// loopTrack is a stereo buffer that wraps: what rings past its end sounds at
// its beginning, so that it repeats without a seam.
type loopTrack struct {
	s    *samples.Sound
	rate float64
}

func newLoopTrack(rateHz int, seconds float64) *loopTrack {
	return &loopTrack{s: samples.NewSound(rateHz, 2, int(math.Round(seconds*float64(rateHz)))), rate: float64(rateHz)}
}

// add mixes a mono voice at a time, level (amplitude) and position (0 left ..
// 1 right, equal power).
func (t *loopTrack) add(atS float64, x []float64, level, pan float64) {
	l, r := level*math.Cos(pan*math.Pi/2), level*math.Sin(pan*math.Pi/2)
	n := t.s.Frames()
	at := int(math.Round(atS*t.rate)) % n
	for i, v := range x {
		k := (at + i) % n
		t.s.Chans[0][k] += l * v
		t.s.Chans[1][k] += r * v
	}
}

// finish scales the track to a peak, dBFS.
func (t *loopTrack) finish(peakDB float64) *samples.Sound {
	scaleToPeak(t.s, peakDB)
	return t.s
}

// scaleToPeak scales a sound so that its largest sample lies at peakDB dBFS.
func scaleToPeak(s *samples.Sound, peakDB float64) {
	peak := 0.0
	for _, ch := range s.Chans {
		for _, v := range ch {
			peak = math.Max(peak, math.Abs(v))
		}
	}
	if peak == 0 {
		return
	}
	g := samples.DBAmplitude(peakDB) / peak
	for _, ch := range s.Chans {
		for i := range ch {
			ch[i] *= g
		}
	}
}

// noteHz returns the frequency of a note counted in semitones from A at 110 Hz.
func noteHz(semitone int) float64 { return 110 * math.Pow(2, float64(semitone)/12) }

// pluck plays a plucked string (Karplus & Strong 1983: a noise-filled delay
// line with an averaging filter).
func pluck(rate, hz, seconds, bright float64, rng *rand.Rand) []float64 {
	period := rate / hz
	n := int(period)
	line := make([]float64, n+1)
	for i := range line {
		line[i] = 2*rng.Float64() - 1
	}
	out := make([]float64, int(seconds*rate))
	last, k, frac := 0.0, 0, period-float64(n)
	for i := range out {
		next := (k + 1) % len(line)
		v := line[k] + frac*(line[next]-line[k])
		last += bright * (v - last)
		line[k] = 0.996 * last
		out[i] = v * fadeOut(i, len(out), int(0.02*rate))
		k = next
	}
	return out
}

// pad plays a soft chord tone: three slightly detuned partial sums.
func pad(rate, hz, seconds float64, rng *rand.Rand) []float64 {
	out := make([]float64, int(seconds*rate))
	for v := 0; v < 3; v++ {
		f := hz * (1 + 0.0035*float64(v-1))
		start := rng.Float64()
		for k := 1; k <= 7; k++ {
			a := 0.3 / float64(k*k)
			w := 2 * math.Pi * f * float64(k) / rate
			for i := range out {
				out[i] += a * math.Sin(w*float64(i)+2*math.Pi*start*float64(k))
			}
		}
	}
	edge := int(0.25 * seconds * rate)
	for i := range out {
		out[i] *= math.Min(1, float64(i)/float64(edge)) * fadeOut(i, len(out), edge)
	}
	return out
}

// bass plays a round low note.
func bass(rate, hz, seconds float64) []float64 {
	out := make([]float64, int(seconds*rate))
	for i := range out {
		t := float64(i) / rate
		w := 2 * math.Pi * hz * t
		env := math.Exp(-2.2*t/seconds) * math.Min(1, t/0.006)
		bright := math.Exp(-9 * t / seconds)
		out[i] = env * (math.Sin(w) + (0.2+0.3*bright)*math.Sin(2*w) + 0.2*bright*math.Sin(3*w)) * fadeOut(i, len(out), int(0.012*rate))
	}
	return out
}

// kick, snare and hat are the usual recipes: a falling sine, a tone with
// noise, short bright noise.
func kick(rate float64) []float64 {
	out := make([]float64, int(0.32*rate))
	phase := 0.0
	for i := range out {
		t := float64(i) / rate
		phase += 2 * math.Pi * (48 + 110*math.Exp(-t*38)) / rate
		out[i] = math.Sin(phase) * math.Exp(-t*11) * math.Min(1, t/0.001) * fadeOut(i, len(out), int(0.01*rate))
	}
	return out
}

func snare(rate float64, rng *rand.Rand) []float64 {
	out := noise(rate, 0.22, 1800, 0.5, rng)
	for i := range out {
		t := float64(i) / rate
		out[i] = (out[i]*1.4*math.Exp(-t*18) + 0.5*math.Sin(2*math.Pi*186*t)*math.Exp(-t*26)) * math.Min(1, t/0.001) * fadeOut(i, len(out), int(0.01*rate))
	}
	return out
}

func hat(rate float64, rng *rand.Rand) []float64 {
	out := noise(rate, 0.06, 8500, 0.7, rng)
	for i := range out {
		out[i] *= math.Exp(-float64(i)/rate*70) * math.Min(1, float64(i)/rate/0.0005) * fadeOut(i, len(out), int(0.005*rate))
	}
	return out
}

// noise is white noise through a resonant band-pass.
func noise(rate, seconds, hz, q float64, rng *rand.Rand) []float64 {
	out := make([]float64, int(seconds*rate))
	f := newResonator(rate, hz, q)
	for i := range out {
		out[i] = f.next(2*rng.Float64() - 1)
	}
	return out
}

// fadeOut is the gain of a raised-cosine fade over the last edge of n frames.
func fadeOut(i, n, edge int) float64 {
	if n-i > edge {
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*float64(n-1-i)/float64(edge))
}

// resonator is a two-pole band-pass of constant peak gain.
type resonator struct{ g, a1, a2, x1, x2, y1, y2 float64 }

func newResonator(rate, hz, q float64) *resonator {
	r := &resonator{}
	r.tune(rate, hz, q)
	return r
}

func (r *resonator) tune(rate, hz, q float64) {
	w := 2 * math.Pi * math.Min(hz, 0.45*rate) / rate
	alpha := math.Sin(w) / (2 * q)
	r.g = alpha / (1 + alpha)
	r.a1 = -2 * math.Cos(w) / (1 + alpha)
	r.a2 = (1 - alpha) / (1 + alpha)
}

func (r *resonator) next(x float64) float64 {
	y := r.g*(x-r.x2) - r.a1*r.y1 - r.a2*r.y2
	r.x2, r.x1, r.y2, r.y1 = r.x1, x, r.y1, y
	return y
}
