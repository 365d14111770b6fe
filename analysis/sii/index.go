package sii

import "math"

// Detail is every step of the procedure, per band, in the letters of the
// standard. Levels are spectrum levels in dB.
type Detail struct {
	V Levels // (5) self-masking of the speech
	B Levels // (6) masker: the larger of noise and self-masking
	C Levels // (7) upward spread, dB per octave
	Z Levels // (9) equivalent masking level
	X Levels // (10) internal noise with the listener's threshold
	D Levels // disturbance: the larger of Z and X
	L Levels // (11) level distortion, 0..1
	K Levels // (12) audibility before distortion, 0..1
	A Levels // (13) band audibility, 0..1
}

// Index returns the speech intelligibility index, 0..1, as ANSI S3.5-1997
// writes it, one-third-octave procedure.
//
// speech (E) and noise (N) are equivalent spectrum levels in dB; -Inf is
// silence. threshold (T) is the listener's hearing threshold in dB HL, zero
// for normal hearing; add [BinauralDB] for two ears. NaN anywhere gives NaN.
// Noise below the standard's lowest band is the matter of [IndexMasked].
func Index(speech, noise, threshold Levels, importance Importance) (float64, Detail) {
	var m Masker
	for k := range LowBands {
		m[k] = math.Inf(-1)
	}
	copy(m[LowBands:], noise[:])
	return IndexMasked(speech, m, threshold, importance)
}

// IndexMasked is [Index] with a masker given from 20 Hz upwards. Bands below
// 160 Hz act by their upward spread alone; see the package comment.
func IndexMasked(speech Levels, masker Masker, threshold Levels, importance Importance) (float64, Detail) {
	var d Detail
	var b, c Masker
	for k, n := range masker {
		b[k] = max(n, NoNoiseDB)
		if i := k - LowBands; i >= 0 {
			d.V[i] = speech[i] - selfMaskingDB
			b[k] = max(b[k], d.V[i])
			d.B[i] = b[k]
		}
		c[k] = slope(b[k], MaskerMidHz[k])
	}
	copy(d.C[:], c[LowBands:])

	var index float64
	for i := range Bands {
		d.Z[i] = equivalentMasking(i, &masker, &b, &c)
		d.X[i] = internalNoise[i] + threshold[i]
		d.D[i] = max(d.Z[i], d.X[i])
		d.L[i] = levelDistortion(speech[i], standardSpeech[Normal][i])
		d.K[i] = audible(speech[i], d.D[i])
		d.A[i] = d.L[i] * d.K[i]
		index += importance.Band[i] * d.A[i]
	}
	return index, d
}

// equivalentMasking is equations (8) and (9) for speech band i. The first
// band of all takes (8), Z = B, as long as nothing lies below it.
func equivalentMasking(i int, masker, b, c *Masker) float64 {
	var spread float64
	for k := range LowBands + i {
		if k < LowBands && masker[k] <= NoNoiseDB {
			continue // the standard's own case: no band there
		}
		spread += math.Pow(10, spreadDB(b[k], c[k], MidHz[i], MaskerMidHz[k])/10)
	}
	own := max(masker[LowBands+i], NoNoiseDB)
	if i == 0 {
		own = b[LowBands]
	}
	if spread == 0 {
		return own
	}
	return 10 * math.Log10(math.Pow(10, own/10)+spread)
}
