package sii

import "math"

// spreadOctaves[k][i] is 3.32·log10(0.89·f_i/f_k) of equation (9), for
// masker band k and a speech band i above it.
var spreadOctaves = func() (g [MaskerBands]Levels) {
	for k, fk := range MaskerMidHz {
		for i, fi := range MidHz {
			if i+LowBands > k {
				g[k][i] = octaves * math.Log10(upperEdge*fi/fk)
			}
		}
	}
	return g
}()

// slopeAt[k] is the part of equation (7) that does not depend on the level,
// in natural logarithm of power per octave.
var slopeAt = func() (s Masker) {
	for k, f := range MaskerMidHz {
		s[k] = slope(0, f) * nepers
	}
	return s
}()

// quiet is the power of [NoNoiseDB].
var quiet = math.Exp(NoNoiseDB * nepers)

// IndexPower returns the index, 0..1, against a masker given as power per
// hertz relative to (20 µPa)², 10^(dB/10): what a sum of sources is. It is
// the function a solver calls millions of times.
func (t *Talker) IndexPower(masker *Masker) float64 {
	var z Levels // equivalent masking, power
	for k, p := range masker {
		i := k - LowBands
		switch {
		case i < 0 && p <= quiet:
			continue
		case i > 0:
			z[i] += max(p, quiet)
		}
		b := math.Log(max(p, quiet)) // (6)
		if i >= 0 {
			b = max(b, t.self[i])
		}
		if i == 0 {
			z[0] += math.Exp(b) // (8)
		}
		if b != b {
			return b
		}
		c := slopeAt[k] + slopePerDB*b // (7); b in nepers scales like c
		g := &spreadOctaves[k]
		for j := max(i+1, 0); j < Bands; j++ {
			term := b + c*g[j] // (9)
			if term < t.cut[j] {
				if term < t.least[k] && c < 0 {
					break
				}
				continue
			}
			z[j] += math.Exp(term)
		}
	}
	var index float64
	for i, power := range z {
		d := math.Log(max(power, t.floor[i])) / nepers
		if d >= t.topDB[i] {
			continue
		}
		index += t.weight[i] * min(1, (t.topDB[i]-d)/rangeDB) // (12) to (14)
	}
	return index
}
