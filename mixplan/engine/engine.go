// Package engine makes the bank of an engine ready: it tracks the revs along
// each recording, brings all of them to the machine's rate, cuts the grains,
// and says what it found.
//
// It stands above analysis (which tracks) and samples (which cut), so that
// neither has to know the other, and every command, page and scene gets its
// bank from the same place.
package engine

import (
	"errors"
	"fmt"
	"math"
	"runtime"
	"sync"

	"tachbench/analysis/tacho"
	"tachbench/samples"
	"tachbench/samples/bank"
	"tachbench/samples/crank"
	"tachbench/samples/resample"
)

// Recording is one recording as read from its file.
type Recording struct {
	Name  string // for messages: the path in the sheet
	Sound *samples.Sound
	Load  float64 // 0 overrun .. 1 full load
	RPM   float64 // revs of a steady hold if known; 0: measured
	// FromRPM and ToRPM bound the revs of a pull or coast-down, in either
	// order; 0: unknown.
	FromRPM, ToRPM float64
}

// Fact is what was found in one recording.
type Fact struct {
	Name       string
	Load       float64
	LengthS    float64
	MedianRPM  float64
	MinRPM     float64
	MaxRPM     float64
	Confidence float64 // mean over what was found, 0..1
	FoundS     float64 // seconds in which an engine was found
	Err        error   // nil, or why the recording gives nothing
}

// Engine is a bank that is ready to play, with the facts behind it.
type Engine struct {
	Bank    *bank.Bank
	Facts   []Fact // in the order of the recordings
	Tracked []Tracked
	Sources []Recording // what it was prepared from
}

// Tracked is a recording at the machine's rate with its track.
type Tracked struct {
	Name  string
	Load  float64
	Sound *samples.Sound
	Track *crank.Track
}

// hintMargin widens the sheet's hints: people round, and needles lag.
const hintMargin = 0.15

// Prepare tracks the recordings on all cores and builds the bank at rateHz.
// Recordings in which no engine is found are left out; their Fact says why,
// and the joined error of all of them is returned beside a usable Engine. The
// Engine is nil when nothing is left to play from.
func Prepare(layout crank.Layout, rateHz int, recs []Recording) (*Engine, error) {
	if err := layout.Validate(); err != nil {
		return nil, err
	}
	if len(recs) == 0 {
		return nil, errors.New("no engine recordings: the sheet needs at least one [[engine.recording]]")
	}
	e := &Engine{Facts: make([]Fact, len(recs)), Sources: recs}
	tracked := make([]*Tracked, len(recs))
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(len(recs), runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				tracked[i], e.Facts[i] = prepareOne(layout, rateHz, recs[i])
			}
		})
	}
	for i := range recs {
		next <- i
	}
	close(next)
	wg.Wait()

	var errs []error
	var parts []bank.Recording
	for i, t := range tracked {
		if t == nil {
			errs = append(errs, fmt.Errorf("%s: %w", recs[i].Name, e.Facts[i].Err))
			continue
		}
		e.Tracked = append(e.Tracked, *t)
		parts = append(parts, bank.Recording{Name: t.Name, Sound: t.Sound, Track: t.Track, Load: t.Load})
	}
	if len(parts) == 0 {
		return nil, errors.Join(errs...)
	}
	var err error
	if e.Bank, err = bank.Build(layout, parts); err != nil {
		return nil, errors.Join(append(errs, err)...)
	}
	return e, errors.Join(errs...)
}

func prepareOne(layout crank.Layout, rateHz int, r Recording) (*Tracked, Fact) {
	f := Fact{Name: r.Name, Load: r.Load, LengthS: r.Sound.DurationS(), MedianRPM: math.NaN(), MinRPM: math.NaN(), MaxRPM: math.NaN()}
	track, err := tacho.Track(r.Sound, layout, hints(r))
	if err != nil {
		f.Err = err
		return nil, f
	}
	s := tacho.Summarize(track)
	f.MedianRPM, f.MinRPM, f.MaxRPM, f.Confidence, f.FoundS = s.MedianRPM, s.MinRPM, s.MaxRPM, s.Confidence, s.FoundS
	sound := r.Sound
	if sound.RateHz != rateHz {
		sound = resample.Sound(sound, rateHz)
	}
	return &Tracked{Name: r.Name, Load: r.Load, Sound: sound, Track: track}, f
}

// hints turns what the sheet says of a recording into bounds for the tracker.
func hints(r Recording) tacho.Options {
	lo, hi := r.RPM, r.RPM
	if r.RPM == 0 {
		lo, hi = math.Min(r.FromRPM, r.ToRPM), math.Max(r.FromRPM, r.ToRPM)
		if lo == 0 && hi != 0 {
			lo = tacho.LowestRPM * (1 + hintMargin)
		}
	}
	if hi == 0 {
		return tacho.Options{}
	}
	return tacho.Options{
		MinRPM: math.Max(60, lo/(1+hintMargin)),
		MaxRPM: math.Min(30000, hi*(1+hintMargin)),
	}
}
