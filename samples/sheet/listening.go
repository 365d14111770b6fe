package sheet

import (
	"fmt"
	"slices"
	"strings"
)

// Listening is the table [listening]: where and how the player hears it.
type Listening struct {
	LevelAtEarDB    float64   // dB SPL at the ear for pink noise at -20 dBFS RMS, 40..120
	NoiseDBA        float64   // the hall at the ear, 20..120
	NoiseShape      string    // crowd, pink or flat; "" if NoiseOffsetsDB is given; default crowd
	NoiseOffsetsDB  []float64 // 18 third-octave offsets, 160 Hz .. 8 kHz, -60..60 dB; else nil
	SpeakerLowCutHz *float64  // -3 dB low cut-off of the cabinet speaker, 10..2000; nil if not given

	// SpeakerResponse is the response of the cabinet speaker, frequencies
	// ascending, at least two points; nil if not given.
	SpeakerResponse []ResponsePoint
	ResponseFile    *Path // where it came from
}

// ResponsePoint is one row of a speaker_response file.
type ResponsePoint struct {
	Hz float64 // 1..100000
	DB float64 // -120..60
}

// noiseBands is the number of third-octave bands from 160 Hz to 8 kHz.
const noiseBands = 18

var noiseShapes = []string{"crowd", "pink", "flat"}

func (d *decoder) listening(t *table) *Listening {
	if t == nil {
		return nil
	}
	l := &Listening{
		LevelAtEarDB:    or(t.needFloat("level_at_ear_db", limits{40, 120, "dB SPL"}), 0),
		NoiseDBA:        or(t.needFloat("noise_dba", limits{20, 120, "dB(A)"}), 0),
		SpeakerLowCutHz: t.float("speaker_low_cut_hz", limits{10, 2000, "Hz"}),
	}
	l.NoiseShape, l.NoiseOffsetsDB = t.noiseShape()
	if p := t.file("speaker_response"); p != nil {
		l.ResponseFile = p
		l.SpeakerResponse = d.response(t.sub("speaker_response"), *p)
	}
	t.done()
	return l
}

// noiseShape reads a name or 18 numbers.
func (t *table) noiseShape() (string, []float64) {
	v, ok := t.get("noise_shape")
	if !ok {
		return noiseShapes[0], nil
	}
	key := t.sub("noise_shape")
	want := strings.Join(noiseShapes, ", ") + fmt.Sprintf(" or %d third-octave offsets in dB", noiseBands)
	switch x := v.(type) {
	case string:
		if slices.Contains(noiseShapes, x) {
			return x, nil
		}
		hint := ""
		if c := closest(x, noiseShapes); c != "" {
			hint = "did you mean " + c + "?"
		}
		t.fail(key, "must be "+want+", not "+quote(x), hint)
	case []any:
		if len(x) != noiseBands {
			t.fail(key, fmt.Sprintf("must be %s (160 Hz to 8 kHz), not %d", want, len(x)), "")
			return "", nil
		}
		offsets := make([]float64, noiseBands)
		for i, e := range x {
			offsets[i], _ = t.checkNumber(entryKey(key, i+1), e, limits{-60, 60, "dB"})
		}
		return "", offsets
	default:
		t.fail(key, "must be "+want+", not "+describe(v), "")
	}
	return "", nil
}
