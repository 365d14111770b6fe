package tone

import (
	"math"
	"math/rand/v2"

	"tachbench/samples"
)

// Silence returns durationS seconds of zeros.
func Silence(rateHz, channels int, durationS float64) *samples.Sound {
	return samples.NewSound(rateHz, channels, frames(rateHz, durationS))
}

// Sine returns a mono sine of peak amplitude amp (1 = full scale), starting
// at phaseRad: amp·sin(2π·freqHz·t + phaseRad).
func Sine(rateHz int, durationS, freqHz, amp, phaseRad float64) *samples.Sound {
	s := Silence(rateHz, 1, durationS)
	for i := range s.Chans[0] {
		// The turn count is reduced before the sine so that long signals
		// keep their precision.
		turns := math.Mod(freqHz*float64(i)/float64(rateHz), 1)
		s.Chans[0][i] = amp * math.Sin(2*math.Pi*turns+phaseRad)
	}
	return s
}

// DC returns a mono constant.
func DC(rateHz int, durationS, level float64) *samples.Sound {
	s := Silence(rateHz, 1, durationS)
	for i := range s.Chans[0] {
		s.Chans[0][i] = level
	}
	return s
}

// Impulse returns silence with one sample of height amp at frame at. It
// panics if at lies outside the sound.
func Impulse(rateHz int, durationS float64, at int, amp float64) *samples.Sound {
	s := Silence(rateHz, 1, durationS)
	s.Chans[0][at] = amp
	return s
}

// White returns Gaussian white noise of the given RMS, one independent
// stream per channel.
func White(rateHz, channels int, durationS, rms float64, seed uint64) *samples.Sound {
	s := Silence(rateHz, channels, durationS)
	for c, ch := range s.Chans {
		rng := rand.New(rand.NewPCG(seed, uint64(c)+0x77))
		for i := range ch {
			ch[i] = rms * rng.NormFloat64()
		}
	}
	return s
}

// Pink returns Gaussian noise whose power density falls 3 dB an octave,
// scaled to the given RMS over its whole length. The shaping is the
// three-pole three-zero filter of R. Bristow-Johnson, given for 44.1 kHz
// (values from memory); at other rates it keeps its shape relative to the
// rate.
func Pink(rateHz int, durationS, rms float64, seed uint64) *samples.Sound {
	s := White(rateHz, 1, durationS, 1, seed)
	x := s.Chans[0]
	poles := [3]float64{0.99572754, 0.94790649, 0.53567505}
	zeros := [3]float64{0.98443604, 0.83392334, 0.07568359}
	for k := range poles {
		var x1, y1 float64
		for i, v := range x {
			y := v - zeros[k]*x1 + poles[k]*y1
			x1, y1 = v, y
			x[i] = y
		}
	}
	scaleTo(x, rms)
	return s
}

// Sweep returns a mono sine whose frequency moves exponentially from fromHz
// to toHz, both > 0, starting at phase 0.
func Sweep(rateHz int, durationS, fromHz, toHz, amp float64) *samples.Sound {
	s := Silence(rateHz, 1, durationS)
	k := math.Log(toHz/fromHz) / durationS
	for i := range s.Chans[0] {
		t := float64(i) / float64(rateHz)
		turns := fromHz * t
		if k != 0 {
			turns = fromHz * math.Expm1(k*t) / k
		}
		s.Chans[0][i] = amp * math.Sin(2*math.Pi*math.Mod(turns, 1))
	}
	return s
}

func frames(rateHz int, durationS float64) int {
	return int(math.Round(durationS * float64(rateHz)))
}

func scaleTo(x []float64, rms float64) {
	have := samples.RMS(x)
	if have == 0 {
		return
	}
	for i := range x {
		x[i] *= rms / have
	}
}
