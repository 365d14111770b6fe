package ear

import (
	"fmt"
	"math"

	"tachbench/analysis/sii"
	"tachbench/samples/sheet"
)

// The names of hall spectra.
const (
	Crowd = "crowd"
	Pink  = "pink"
	Flat  = "flat"
)

// Hall returns the hall's noise at the ear in dB SPL a band for a named shape
// and an A-weighted level; -Inf outside 160 Hz to 8 kHz. See the package
// comment for the shapes.
func Hall(shape string, dba float64) (Levels, error) {
	var offsets sii.Levels
	switch shape {
	case Crowd:
		offsets = sii.Speech(sii.Loud, 1, sii.BandwidthDB)
	case Pink:
	case Flat:
		for i := range offsets {
			offsets[i] = float64(i)
		}
	default:
		return Levels{}, fmt.Errorf("noise_shape must be %s, %s, %s or 18 offsets, not %q", Crowd, Pink, Flat, shape)
	}
	return hall(offsets, dba), nil
}

func hall(offsetsDB sii.Levels, dba float64) Levels {
	l := Silence()
	copy(l[SpeechFrom:beyondSpeech], offsetsDB[:])
	return l.Plus(dba - l.DBA())
}

// hallOf is the hall of a sheet.
func hallOf(l *sheet.Listening) (Levels, error) {
	if math.IsNaN(l.NoiseDBA) || math.IsInf(l.NoiseDBA, 0) {
		return Levels{}, fmt.Errorf("noise_dba must be a finite level, not %g", l.NoiseDBA)
	}
	if l.NoiseOffsetsDB == nil {
		shape := l.NoiseShape
		if shape == "" {
			shape = Crowd
		}
		return Hall(shape, l.NoiseDBA)
	}
	if len(l.NoiseOffsetsDB) != sii.Bands {
		return Levels{}, fmt.Errorf("noise_shape must have %d offsets, not %d", sii.Bands, len(l.NoiseOffsetsDB))
	}
	var offsets sii.Levels
	for i, db := range l.NoiseOffsetsDB {
		if math.IsNaN(db) || math.IsInf(db, 0) {
			return Levels{}, fmt.Errorf("noise_shape must be finite, not %g at entry %d", db, i+1)
		}
		offsets[i] = db
	}
	return hall(offsets, l.NoiseDBA), nil
}
