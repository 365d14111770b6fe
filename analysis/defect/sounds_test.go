package defect_test

import (
	"math"
	"math/rand/v2"

	"tachbench/analysis/defect"
	"tachbench/samples"
)

// take is one sound with what the scan is told about it.
type take struct {
	samples.Sound
	depth int
	loops []samples.Loop
	kind  defect.Kind
	whole bool
	over  map[string]float64
}

// mono makes a 16-bit sound at 48 kHz from a function of time.
func mono(kind defect.Kind, seconds float64, f func(t float64) float64) take {
	return at(48000, kind, seconds, f)
}

func at(rateHz int, kind defect.Kind, seconds float64, f func(t float64) float64) take {
	s := samples.NewSound(rateHz, 1, int(math.Round(seconds*float64(rateHz))))
	for i := range s.Chans[0] {
		s.Chans[0][i] = f(float64(i) / float64(rateHz))
	}
	return take{Sound: *s, depth: 16, kind: kind}
}

// round brings a take to its bit depth, as a file does, cutting what is over.
func (t take) round() take {
	if t.depth == 0 {
		return t
	}
	full := math.Ldexp(1, t.depth-1)
	for _, ch := range t.Chans {
		for i, v := range ch {
			ch[i] = min(max(math.Round(v*full), -full), full-1) / full
		}
	}
	return t
}

func (t take) gain(g float64) take {
	for _, ch := range t.Chans {
		for i := range ch {
			ch[i] *= g
		}
	}
	return t
}

// edit changes the samples of channel 0 in place.
func (t take) edit(f func(x []float64)) take {
	f(t.Chans[0])
	return t
}

func (t take) with(f func(t *take)) take {
	f(&t)
	return t
}

// stereo puts g times the sound beside it.
func (t take) stereo(g float64) take {
	y := make([]float64, len(t.Chans[0]))
	for i, v := range t.Chans[0] {
		y[i] = g * v
	}
	t.Chans = append(t.Chans, y)
	return t
}

// beside puts another sound on the right.
func (t take) beside(u take) take {
	t.Chans = append(t.Chans, u.Chans[0][:len(t.Chans[0])])
	return t
}

func sine(hz, amplitude float64) func(float64) float64 {
	return func(t float64) float64 { return amplitude * math.Sin(2*math.Pi*hz*t) }
}

func sum(fs ...func(float64) float64) func(float64) float64 {
	return func(t float64) float64 {
		v := 0.0
		for _, f := range fs {
			v += f(t)
		}
		return v
	}
}

// noise is white, with the given RMS.
func noise(seed uint64, rms float64) func(float64) float64 {
	rng := rand.New(rand.NewPCG(seed, 1))
	return func(float64) float64 { return rms * rng.NormFloat64() }
}

// dull is noise through a one-pole low-pass: the gentle roll-off of nature.
func dull(seed uint64, rms, cornerHz float64) func(float64) float64 {
	n := noise(seed, rms)
	y, a := 0.0, math.Exp(-2*math.Pi*cornerHz/48000)
	return func(t float64) float64 {
		y = a*y + (1-a)*n(t)
		return y * math.Sqrt(48000/(math.Pi*cornerHz))
	}
}

// voice is a gliding pitch with formant-like weights, in words of 0.35 s with
// pauses of 0.25 s, faded over 30 ms. It starts with a word.
func voice(pitchHz, amplitude float64) func(float64) float64 {
	phase, last := 0.0, 0.0
	var weight [20]float64
	for i := range weight {
		f := float64(i+1) * pitchHz
		weight[i] = math.Exp(-sq((f-500)/300)) + 0.5*math.Exp(-sq((f-1500)/400)) + 0.15*math.Exp(-sq((f-2500)/500))
	}
	return func(t float64) float64 {
		phase += 2 * math.Pi * pitchHz * (1 + 0.12*math.Sin(2*math.Pi*1.3*t)) * (t - last)
		last = t
		u := math.Mod(t, 0.6)
		env := max(min(u/0.03, (0.35-u)/0.03, 1), 0)
		if env == 0 {
			return 0
		}
		v := 0.0
		for i, w := range weight {
			v += math.Sin(float64(i+1)*phase) * w
		}
		return amplitude / 3 * env * v
	}
}

// hit is a struck thing: a burst that rings off.
func hit(atS, amplitude, decayS float64) func(float64) float64 {
	n := noise(77, 1)
	return func(t float64) float64 {
		if t < atS {
			return 0
		}
		u := t - atS
		return amplitude * math.Exp(-u/decayS) * (0.5*n(t)/2 + math.Sin(2*math.Pi*1900*u))
	}
}

// firing is an engine: one damped pulse each period, two cylinders that differ.
func firing(hz float64) func(float64) float64 { return firingUneven(hz, 0.45) }

// firingUneven gives every other pulse that amplitude beside 0.5.
func firingUneven(hz, other float64) func(float64) float64 {
	return func(t float64) float64 {
		v := 0.0
		for back := range 3 {
			n := math.Floor(t*hz) - float64(back)
			u := t - n/hz
			g := 0.5
			if math.Mod(n, 2) == 0 {
				g = other
			}
			v += g * math.Exp(-u*120) * math.Sin(2*math.Pi*310*u)
		}
		return v
	}
}

// swell rises out of a tone once, around 1 s, far over full scale.
func swell(hz float64) func(float64) float64 {
	return func(t float64) float64 { return (0.3 + 1.2*math.Exp(-sq((t-1)/0.012))) * math.Sin(2*math.Pi*hz*t) }
}

// faded fades both ends over s seconds of a sound that long.
func faded(f func(float64) float64, lengthS, s float64) func(float64) float64 {
	return func(t float64) float64 { return f(t) * max(min(t/s, (lengthS-t)/s, 1), 0) }
}

func sq(x float64) float64 { return x * x }

// scan runs a take through the scan in blocks of n frames.
func (t take) scan(n int) []defect.Finding {
	opt, err := defect.NewOptions(t.kind, t.over)
	if err != nil {
		panic(err)
	}
	opt.WholeLoop = t.whole
	info := samples.Info{Format: "wav", RateHz: t.RateHz, Channels: len(t.Chans), BitDepth: t.depth, Float: t.depth == 0,
		Frames: int64(t.Frames()), Loops: t.loops}
	if info.Float {
		info.BitDepth = 32
	}
	s := defect.NewScan(info, opt)
	block := make([][]float64, len(t.Chans))
	for i := 0; i < t.Frames(); i += n {
		for c := range block {
			block[c] = t.Chans[c][i:min(i+n, t.Frames())]
		}
		s.Write(block)
	}
	return s.Finish()
}
