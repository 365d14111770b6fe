package sii

import "math"

// Neighbouring mid-frequencies stand in one of four ratios, because nominal
// frequencies are rounded. Along the bands above a masker the spread
// therefore falls by one of four factors a step, and no exponential is needed
// a band.
var (
	ratios    = [4]float64{1.25, 1.26, 400. / 315, 1.28}
	ratioOf   [Bands]uint8 // of band j to band j-1
	octavesOf [4]float64   // 3.32·log10(ratio)
	first     Masker       // 3.32·log10(0.89·f/f_k) for the lowest speech band above masker band k
	slopeAt   Masker       // the part of (7) without level, natural logarithm of power per octave
	quiet     = math.Exp(NoNoiseDB * nepers)
)

func init() {
	for n, r := range ratios {
		octavesOf[n] = octaves * math.Log10(r)
		for j := 1; j < Bands; j++ {
			if math.Abs(MidHz[j]/MidHz[j-1]-r) < 1e-9 {
				ratioOf[j] = uint8(n)
			}
		}
	}
	for k, f := range MaskerMidHz {
		slopeAt[k] = slope(0, f) * nepers
		if j := max(k-LowBands+1, 0); j < Bands {
			first[k] = octaves * math.Log10(upperEdge*MidHz[j]/f)
		}
	}
}

// IndexPower returns the index, 0..1, against a masker given as power per
// hertz relative to (20 µPa)², 10^(dB/10): what a sum of sources is. It is
// the function a solver calls millions of times. The index is that of
// [IndexMasked] to within 1e-8; NaN in the masker gives NaN.
func (t *Talker) IndexPower(masker *Masker) float64 {
	var z Levels // equivalent masking, power
	for k, p := range masker {
		if p != p {
			return p
		}
		p = min(max(p, quiet), loudest)
		j := k - LowBands
		if j < 0 {
			if p == quiet {
				continue
			}
		} else if own := max(p, t.self[j]); j == 0 {
			z[0] += own // (8)
			p = own
		} else {
			z[j] += p
			p = own // (6)
		}
		j = max(j+1, 0)
		if j == Bands {
			break
		}
		b := quickLog(p)
		c := slopeAt[k] + slopePerDB*b // (7); both in natural logarithms
		term := quickExp(b + c*first[k])
		least := t.least[k]
		if term < least && c < 0 {
			continue
		}
		var fall [4]float64
		for n := range 3 {
			fall[n] = quickExp(c * octavesOf[n])
		}
		fall[3] = fall[1] * fall[2] / fall[0] // 1.28 = 1.26·(400/315)/1.25
		z[j] += term                          // (9)
		for j++; j < Bands; j++ {
			term *= fall[ratioOf[j]&3]
			if term < least && c < 0 {
				break
			}
			z[j] += term
		}
	}
	var index float64
	for i, power := range &z {
		power = max(power, t.floor[i])
		if power >= t.top[i] {
			continue // (12): nothing is left of this band
		}
		k := (t.topDB[i] - quickLog(power)/nepers) / rangeDB
		index += t.weight[i] * min(1, k) // (12) to (14)
	}
	return index
}
