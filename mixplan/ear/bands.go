package ear

import (
	"math"

	"tachbench/analysis/band"
	"tachbench/analysis/sii"
)

const (
	// Bands is the number of third-octave bands, 20 Hz .. 20 kHz.
	Bands = band.LastX - band.FirstX + 1
	// SpeechFrom is the band of 160 Hz, the first that the speech
	// intelligibility index knows as speech. Those before it mask only.
	SpeechFrom = sii.LowBands
	// beyondSpeech is the band of 10 kHz, the first that it does not know.
	beyondSpeech = sii.MaskerBands
)

// Levels holds one level in dB a third-octave band, 20 Hz .. 20 kHz; -Inf is
// silence.
type Levels [Bands]float64

// MidHz returns the exact mid-frequency of band b, 0 to Bands-1 (IEC 61260-1,
// base 10).
func MidHz(b int) float64 { return band.MidHz(band.FirstX + b) }

// EdgesHz returns the edges of band b.
func EdgesHz(b int) (lo, hi float64) { return band.Edges(band.FirstX + b) }

// SpectrumDBFS returns the band levels of a measured spectrum, dBFS RMS; -Inf
// where the sample rate leaves no band. Feed [Chain.AtEar] with it.
func SpectrumDBFS(s band.Spectrum) Levels {
	l := Silence()
	for _, o := range s.ThirdOctaves() {
		l[o.X-band.FirstX] = o.LevelDB
	}
	return l
}

// Silence returns -Inf in every band.
func Silence() (l Levels) {
	for b := range l {
		l[b] = math.Inf(-1)
	}
	return l
}

// DB returns the level of all bands together, unweighted.
func (l Levels) DB() float64 { return l.weighted(func(float64) float64 { return 0 }) }

// DBA returns the A-weighted level of all bands together. The weight is that
// of the mid-frequency.
func (l Levels) DBA() float64 { return l.weighted(band.AWeightDB) }

// DBC returns the C-weighted level of all bands together.
func (l Levels) DBC() float64 { return l.weighted(band.CWeightDB) }

func (l Levels) weighted(weightDB func(hz float64) float64) float64 {
	var sum float64
	for b, db := range l {
		sum += math.Pow(10, (db+weightDB(MidHz(b)))/10)
	}
	return 10 * math.Log10(sum)
}

// Plus returns the levels raised by db.
func (l Levels) Plus(db float64) Levels {
	for b := range l {
		l[b] += db
	}
	return l
}

// Sum adds uncorrelated sounds band by band, 10·log10 Σ 10^(L/10).
func Sum(sounds ...Levels) Levels {
	var sum Levels
	for _, s := range sounds {
		for b, db := range s {
			sum[b] += math.Pow(10, db/10)
		}
	}
	for b, p := range sum {
		sum[b] = 10 * math.Log10(p)
	}
	return sum
}

// SpeechSpectrum returns band levels in dB SPL as the equivalent speech
// spectrum level of package sii, dB SPL per hertz. The bandwidth is taken off
// here, once.
func (l Levels) SpeechSpectrum() (e sii.Levels) {
	for i := range e {
		e[i] = l[SpeechFrom+i] - sii.BandwidthDB[i]
	}
	return e
}

// MaskerPower returns band levels in dB SPL as masker power per hertz for
// [sii.Talker.IndexPower], relative to (20 µPa)². Powers of several sounds may
// be added. The bandwidth is taken off here, once; bands over 8 kHz are left
// out.
func (l Levels) MaskerPower() (p sii.Masker) {
	for k := range p {
		p[k] = math.Pow(10, (l[k]-sii.MaskerBandwidthDB[k])/10)
	}
	return p
}
