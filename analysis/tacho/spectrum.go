package tacho

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// fftLen is the window length at each zoom's own rate.
const fftLen = 1024

// lineRangeDB is the range that counts: a line this far below the highest
// lines around it is level 0, the highest are level 1.
const lineRangeDB = 36

// Reach of the local maximum that lines are measured against, and of the
// mean that smooths it, in natural-log frequency to each side. Together they
// span the widest gap an order comb has, the octave from first to second.
const (
	peakReach   = 0.35
	smoothReach = 0.15
	refBins     = 10 // bins that share one value of it
)

// spectrumLimit is the highest frequency used, in cycles per sample.
const spectrumLimit = 0.43

// logSpectra gives line spectra on a log-frequency axis: levels in
// decibels against the highest lines around, scaled to 0..1. Decibels, since
// an exhaust's resonances make neighbouring orders differ by 20 dB and more.
type logSpectra struct {
	rateHz float64
	z      []complex128
	fft    *fourier.CmplxFFT
	warps  []warp
	buf    []complex128
	power  [2][]float64 // sound, envelope
	bins   int
	cells  []cell
	lines  []float64
	level  []float64
	peak   []float64 // per block of refBins bins: its maximum,
	wide   []float64 // that of its surroundings,
	tops   []float64 // and that smoothed
	reach  int       // of the surroundings, in blocks
	mean   int       // of the smoothing
}

// warp holds, for one relative rate of change, where each window sample is
// read and its weights (4-point cubic, times the window).
type warp struct {
	at []int
	w  [][4]float64
}

// cell says which linear bins make one log bin: the largest of lo..hi if
// there are several, else a mix of lo and lo+1.
type cell struct {
	lo, hi int
	frac   float64
	env    float64 // share of the envelope's spectrum
}

func newLogSpectra(sig signal, halvings int, lowHz, logStep float64, slopes []float64) *logSpectra {
	rate, z := sig.rateHz, sig.z
	for range halvings {
		rate, z = rate/2, halve(z)
	}
	s := &logSpectra{
		rateHz: rate, z: z,
		fft:   fourier.NewCmplxFFT(fftLen),
		buf:   make([]complex128, fftLen),
		reach: int(math.Round(peakReach / logStep / refBins)),
		mean:  int(math.Round(smoothReach / logStep / refBins)),
	}
	for i := range s.power {
		s.power[i] = make([]float64, fftLen/2+1)
	}
	for _, a := range slopes {
		s.warps = append(s.warps, newWarp(a, rate))
	}
	highHz := spectrumLimit * rate
	s.bins = max(1, int(math.Log(highHz/lowHz)/logStep))
	perHz := fftLen / rate
	for i := range s.bins {
		hz := lowHz * math.Exp(float64(i)*logStep)
		c := cell{env: envShare(hz)}
		lo, hi := hz*math.Exp(-logStep/2)*perHz, hz*math.Exp(logStep/2)*perHz
		c.lo, c.hi = int(math.Ceil(lo)), int(math.Floor(hi))
		if c.hi <= c.lo {
			at := hz * perHz
			c.lo = int(at)
			c.hi = c.lo
			c.frac = at - float64(c.lo)
		}
		s.cells = append(s.cells, c)
	}
	s.lines = make([]float64, s.bins)
	s.level = make([]float64, s.bins)
	blocks := (s.bins + refBins - 1) / refBins
	s.peak, s.wide, s.tops = make([]float64, blocks), make([]float64, blocks), make([]float64, blocks)
	return s
}

// envShare is the part the envelope's spectrum has in the level at hz. The
// envelope knows nothing of the exhaust's resonances, which colour the sound
// itself, but fades out where pulses run into each other.
func envShare(hz float64) float64 {
	return 0.5 * math.Min(1, math.Max(0, (1200-hz)/600))
}

// newWarp lays out a Hann window in a time τ in which an engine with
// f(t) = f·(1+a·t) around the window's centre runs evenly: τ = t + a·t²/2.
func newWarp(a, rateHz float64) warp {
	w := warp{make([]int, fftLen), make([][4]float64, fftLen)}
	for i := range w.at {
		tau := (float64(i) - fftLen/2) / rateHz
		t := tau
		if a != 0 {
			t = (math.Sqrt(math.Max(0, 1+2*a*tau)) - 1) / a
		}
		pos := t * rateHz
		k := math.Floor(pos)
		w.at[i] = int(k) - 1
		hann := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/fftLen)
		w.w[i] = cubic(pos - k)
		for j := range w.w[i] {
			w.w[i][j] *= hann
		}
	}
	return w
}

// cubic returns the weights of the values at -1, 0, 1, 2 for a point at
// 0 <= u < 1 (Catmull-Rom).
func cubic(u float64) [4]float64 {
	return [4]float64{
		u * (-0.5 + u*(1-0.5*u)),
		1 + u*u*(-2.5+1.5*u),
		u * (0.5 + u*(2-1.5*u)),
		u * u * (-0.5 + 0.5*u),
	}
}

// at returns the line spectrum around centreS with warp k, valid until the
// next call, and false where there is no sound.
func (s *logSpectra) at(centreS float64, k int) ([]float64, bool) {
	if !s.gather(int(math.Round(centreS*s.rateHz)), &s.warps[k]) {
		return nil, false
	}
	s.fft.Coefficients(s.buf, s.buf)
	s.split()
	s.fold()
	return s.lines, true
}

// gather reads the warped window; beyond the ends there is silence.
func (s *logSpectra) gather(centre int, w *warp) bool {
	var energy float64
	inside := centre+w.at[0] >= 0 && centre+w.at[fftLen-1]+4 <= len(s.z)
	for i, at := range w.at {
		at += centre
		c := &w.w[i]
		var v complex128
		if inside {
			z := s.z[at : at+4]
			v = complex(
				c[0]*real(z[0])+c[1]*real(z[1])+c[2]*real(z[2])+c[3]*real(z[3]),
				c[0]*imag(z[0])+c[1]*imag(z[1])+c[2]*imag(z[2])+c[3]*imag(z[3]))
		} else {
			for j, g := range c {
				if p := at + j; p >= 0 && p < len(s.z) {
					v += complex(g*real(s.z[p]), g*imag(s.z[p]))
				}
			}
		}
		s.buf[i] = v
		energy += real(v) * real(v)
	}
	// The prepared sound has RMS 1; this is 100 dB below.
	return energy > 1e-10*fftLen
}

// split parts the two real signals that share one complex transform.
func (s *logSpectra) split() {
	for i := range s.power[0] {
		a, b := s.buf[i], s.buf[(fftLen-i)%fftLen]
		xr, xi := real(a)+real(b), imag(a)-imag(b)
		er, ei := imag(a)+imag(b), real(b)-real(a)
		s.power[0][i] = (xr*xr + xi*xi) / 4
		s.power[1][i] = (er*er + ei*ei) / 4
	}
}

// fold brings both spectra to the log axis, evens each out against its
// surroundings and mixes them.
func (s *logSpectra) fold() {
	clear(s.lines)
	for which := range s.power {
		p := s.power[which]
		// -80 dB of the mean keeps digital silence between lines harmless.
		var floor float64
		for _, v := range p {
			floor += v
		}
		floor *= 1e-8 / float64(len(p))
		for i, c := range s.cells {
			v := p[c.lo]
			if c.hi > c.lo {
				for _, w := range p[c.lo+1 : c.hi+1] {
					if w > v {
						v = w
					}
				}
			} else if c.frac > 0 {
				v += c.frac * (p[c.lo+1] - v)
			}
			s.level[i] = fastLog2(v + floor)
		}
		s.addRelative(which)
	}
}

// addRelative measures the levels against their smoothed local maximum and
// adds them to lines with the share of the spectrum they come from.
func (s *logSpectra) addRelative(which int) {
	s.reference()
	const perLog2 = 3.0103 / lineRangeDB
	for b, top := range s.tops {
		from := b * refBins
		to := min(from+refBins, s.bins)
		// The reference runs straight from one block's middle to the next.
		next := s.tops[min(b+1, len(s.tops)-1)]
		slope := (next - top) / refBins
		for i := from; i < to; i++ {
			share := s.cells[i].env
			if which == 0 {
				share = 1 - share
			} else if share == 0 {
				return // no envelope from here up
			}
			v := 1 + (s.level[i]-top-slope*float64(i-from))*perLog2
			if v > 1 {
				v = 1
			}
			if v > 0 {
				s.lines[i] += share * v
			}
		}
	}
}

// reference sets tops: per block of bins the maximum over peakReach to each
// side, smoothed over smoothReach.
func (s *logSpectra) reference() {
	for b := range s.peak {
		top := math.Inf(-1)
		for _, v := range s.level[b*refBins : min((b+1)*refBins, s.bins)] {
			if v > top {
				top = v
			}
		}
		s.peak[b] = top
	}
	for b := range s.wide {
		top := s.peak[b]
		for _, v := range s.peak[max(0, b-s.reach):min(len(s.peak), b+s.reach+1)] {
			if v > top {
				top = v
			}
		}
		s.wide[b] = top
	}
	for b := range s.tops {
		lo, hi := max(0, b-s.mean), min(len(s.wide), b+s.mean+1)
		var sum float64
		for _, v := range s.wide[lo:hi] {
			sum += v
		}
		s.tops[b] = sum / float64(hi-lo)
	}
}

// fastLog2 returns log2 of a positive normal v, good to 0.009 (0.03 dB):
// exponent plus a parabola through the mantissa's ends.
func fastLog2(v float64) float64 {
	bits := math.Float64bits(v)
	m := math.Float64frombits(bits&(1<<52-1) | 1023<<52)
	return float64(int(bits>>52&0x7ff)-1023) + (m-1)*(1.346607-0.346607*(m-1))
}

// halve low-passes and keeps every second value (half-band, 23 taps).
func halve(z []complex128) []complex128 {
	out := make([]complex128, (len(z)+1)/2)
	for k := range out {
		acc := z[2*k] * complex(halfBand[0], 0)
		for j, h := range halfBand[1:] {
			d := 2*j + 1
			var v complex128
			if i := 2*k - d; i >= 0 {
				v = z[i]
			}
			if i := 2*k + d; i < len(z) {
				v += z[i]
			}
			acc += complex(h*real(v), h*imag(v))
		}
		out[k] = acc
	}
	return out
}

// halfBand holds the middle tap and the odd taps 1, 3, 5 … of a Hann-windowed
// half-band low-pass.
var halfBand = func() []float64 {
	h := []float64{0.5}
	sum := 0.0
	for d := 1; d <= 11; d += 2 {
		v := math.Sin(math.Pi*float64(d)/2) / (math.Pi * float64(d)) * (0.5 + 0.5*math.Cos(math.Pi*float64(d)/12))
		h = append(h, v)
		sum += 2 * v
	}
	for i := 1; i < len(h); i++ {
		h[i] *= 0.5 / sum
	}
	return h
}()
