package speech

import (
	"math"

	"tachbench/samples"
)

// Reasons why a reading is absent.
const (
	ReasonEmpty          = "no sound"
	ReasonTooQuiet       = "quieter than the lowest threshold"
	ReasonNoPauses       = "no 0.2 s of pauses"
	ReasonDigitalSilence = "pauses are digital silence"
)

// Reading is a number or the reason why there is none.
type Reading struct {
	Value  float64 // NaN if absent
	Absent string  // why there is no value; empty if there is one
}

// OK reports whether there is a value.
func (r Reading) OK() bool { return r.Absent == "" }

func absent(reason string) Reading { return Reading{Value: math.NaN(), Absent: reason} }

// Result holds what was measured of everything written so far. Levels are dB
// re a mean square of 1.
type Result struct {
	LongTermDB    Reading // over the whole length
	ActiveDB      Reading // active speech level
	Activity      Reading // share of the time that is active, 0 to 1
	NoiseFloorDB  Reading // in the pauses
	SpeechToNoise Reading // ActiveDB - NoiseFloorDB
	Unusable      int64   // samples counted as 0, see samples.Usable
}

// Result may be called at any time and changes nothing.
func (m *Meter) Result() Result {
	r := Result{LongTermDB: absent(ReasonEmpty), ActiveDB: absent(ReasonEmpty), Activity: absent(ReasonEmpty),
		NoiseFloorDB: absent(ReasonEmpty), SpeechToNoise: absent(ReasonEmpty), Unusable: m.unusable}
	if m.sum2 <= 0 {
		return r
	}
	r.LongTermDB = Reading{Value: samples.PowerDB(m.sum2 / float64(m.n))}
	level, ok := m.activeLevel()
	if !ok {
		for _, x := range []*Reading{&r.ActiveDB, &r.Activity, &r.NoiseFloorDB, &r.SpeechToNoise} {
			*x = absent(ReasonTooQuiet)
		}
		return r
	}
	r.ActiveDB = Reading{Value: level}
	r.Activity = Reading{Value: samples.DBPower(r.LongTermDB.Value - level)}
	if floor, why := m.pauses.floor(level - marginDB); why != "" {
		r.NoiseFloorDB, r.SpeechToNoise = absent(why), absent(why)
	} else {
		r.NoiseFloorDB = Reading{Value: floor}
		r.SpeechToNoise = Reading{Value: level - floor}
	}
	return r
}

// activeLevel finds the level that stands the margin over its threshold. The
// higher the threshold, the less the mean over its active time stands over it.
func (m *Meter) activeLevel() (float64, bool) {
	lastLevel, lastOver := math.NaN(), math.NaN()
	for j := range count {
		a := m.active(j)
		if a == 0 {
			break
		}
		level := samples.PowerDB(m.sum2 / float64(a))
		over := level - samples.AmplitudeDB(math.Ldexp(1, lowest+j))
		if over <= marginDB {
			if j == 0 { // all of it lies near the lowest threshold
				return level, true
			}
			t := (lastOver - marginDB) / (lastOver - over)
			return lastLevel + t*(level-lastLevel), true
		}
		lastLevel, lastOver = level, over
	}
	return lastLevel, !math.IsNaN(lastLevel)
}
