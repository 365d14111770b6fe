package tacho

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"tachbench/samples/crank"
)

// The widest range looked at when no hint is given: from a truck diesel
// being lugged to a model-size two-stroke.
const (
	LowestRPM  = 300
	HighestRPM = 20000
)

// Options tune Track. The zero value is good for any recording.
type Options struct {
	// MinRPM and MaxRPM bound the search; 0 means LowestRPM and HighestRPM.
	// A range that surely contains the revs makes the result safer and the
	// search faster. Nothing outside the range is ever reported.
	MinRPM, MaxRPM float64
	// HopS is the distance of the points in the result, 0.001..0.1 s; 0
	// means 0.01.
	HopS float64
}

func (o Options) withDefaults() (Options, error) {
	if o.MinRPM == 0 {
		o.MinRPM = LowestRPM
	}
	if o.MaxRPM == 0 {
		o.MaxRPM = HighestRPM
	}
	if o.HopS == 0 {
		o.HopS = 0.01
	}
	if !(o.MinRPM >= 60 && o.MaxRPM <= 30000 && o.MinRPM < o.MaxRPM) {
		return o, fmt.Errorf("tacho: RPM range %g..%g must rise and lie within 60..30000", o.MinRPM, o.MaxRPM)
	}
	if !(o.HopS >= 0.001 && o.HopS <= 0.1) {
		return o, fmt.Errorf("tacho: hop %g s must lie within 0.001..0.1", o.HopS)
	}
	return o, nil
}

// NoEngineError says that no engine could be found in a recording.
type NoEngineError struct {
	Layout         crank.Layout
	MinRPM, MaxRPM float64
	LengthS        float64
	BestConfidence float64 // the highest confidence met, 0..1
	Reason         string  // what stood in the way, in words
}

func (e *NoEngineError) Error() string {
	return fmt.Sprintf("no engine found: looked for a %d-stroke of %d cylinders at %.0f..%.0f RPM in %.3g s of sound; %s (best confidence %.2f, needed %.2f). Check cylinders, strokes and firing angles, narrow the RPM range, or record at least 1 s of steady running close to the exhaust",
		e.Layout.Strokes, e.Layout.Cylinders, e.MinRPM, e.MaxRPM, e.LengthS, e.Reason, e.BestConfidence, enterConfidence)
}

// IsNoEngine tells whether err is or wraps a *NoEngineError.
func IsNoEngine(err error) bool {
	var e *NoEngineError
	return errors.As(err, &e)
}

// Summary is a track in a few numbers.
type Summary struct {
	MedianRPM, MinRPM, MaxRPM float64 // over the points with revs; NaN if there are none
	FoundS                    float64 // seconds with revs
	Confidence                float64 // mean over the points with revs; 0 if there are none
}

// Summarize condenses the points of t that have revs.
func Summarize(t *crank.Track) Summary {
	s := Summary{MedianRPM: math.NaN(), MinRPM: math.NaN(), MaxRPM: math.NaN()}
	var revs []float64
	for i, r := range t.RPM {
		if !math.IsNaN(r) {
			revs = append(revs, r)
			s.Confidence += t.Confidence[i]
		}
	}
	if len(revs) == 0 {
		return s
	}
	slices.Sort(revs)
	n := len(revs)
	s.MedianRPM = (revs[(n-1)/2] + revs[n/2]) / 2
	s.MinRPM, s.MaxRPM = revs[0], revs[n-1]
	s.FoundS = float64(n) * t.HopS
	s.Confidence /= float64(n)
	return s
}
