package band

import (
	"math"

	"tachbench/samples"
)

// Spectrum is the long-term average of one channel, or of several.
type Spectrum struct {
	RateHz int
	BinHz  float64   // distance of the bins
	Power  []float64 // mean square in each bin, centred on k·BinHz, up to half the rate
}

// Mean is the power mean of spectra of one meter, the loudness-neutral fold of
// its channels. It panics if there is none.
func Mean(list []Spectrum) Spectrum {
	out := list[0]
	out.Power = make([]float64, len(list[0].Power))
	for _, s := range list {
		for k, p := range s.Power {
			out.Power[k] += p / float64(len(list))
		}
	}
	return out
}

// Band is one third octave.
type Band struct {
	X         int     // IEC 61260-1 index, 0 = 1 kHz
	NominalHz float64 // the printed name
	LevelDB   float64 // re mean square 1; -Inf if there is nothing at all
	Partial   bool    // the band reaches over half the sample rate
}

// ThirdOctaves returns the bands from 20 Hz to 20 kHz whose middle lies under
// half the sample rate.
func (s Spectrum) ThirdOctaves() []Band {
	var out []Band
	for x := FirstX; x <= LastX && MidHz(x) < float64(s.RateHz)/2; x++ {
		low, high := Edges(x)
		out = append(out, Band{X: x, NominalHz: NominalHz(x), LevelDB: samples.PowerDB(s.Between(low, high)), Partial: high > float64(s.RateHz)/2})
	}
	return out
}

// Between returns the mean square between two frequencies. Bins are taken as
// evenly filled and split where an edge cuts them.
func (s Spectrum) Between(lowHz, highHz float64) float64 {
	low := max(0, lowHz/s.BinHz+0.5) // bin k covers k to k+1 on this scale
	high := min(float64(len(s.Power)), highHz/s.BinHz+0.5)
	if !(high > low) {
		return 0
	}
	from, to := int(low), int(math.Ceil(high))
	var sum float64
	for k := from; k < to; k++ {
		sum += s.Power[k] * (min(high, float64(k+1)) - max(low, float64(k)))
	}
	return sum
}

// LevelDB is the level under a weighting, such as AWeightDB or CWeightDB; nil
// weighs nothing. DC is part of the unweighted level only. -Inf if there is
// nothing at all.
func (s Spectrum) LevelDB(weightDB func(hz float64) float64) float64 {
	var sum float64
	for k, p := range s.Power {
		if p == 0 {
			continue
		}
		if weightDB != nil {
			p *= samples.DBPower(weightDB(float64(k) * s.BinHz))
		}
		sum += p
	}
	return samples.PowerDB(sum)
}
