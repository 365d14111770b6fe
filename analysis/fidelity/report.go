package fidelity

import "math"

// Row is one line of a Report. Numbers that could not be measured are NaN.
type Row struct {
	Measure string  // what was measured
	How     string  // in one line
	Unit    string  // "cents", "dB", "cycles", "", …
	Value   float64 // of the render
	Source  float64 // the same figure of the source, or the floor it is held against
	Target  float64 // Value must not exceed it; NaN = reported only
	Ideal   float64 // what a perfect note has: 0, or the source's own figure

	Pass *bool // nil if there is no target or no value

	AnchorLoop, AnchorResample float64 // Value of the two poor notes
}

// BeatsLoop says whether the render lies nearer to the ideal than the frozen
// loop; nil if either is not known.
func (r Row) BeatsLoop() *bool { return r.beats(r.AnchorLoop) }

// BeatsResample says whether the render lies nearer to the ideal than plain
// resampling; nil if either is not known.
func (r Row) BeatsResample() *bool { return r.beats(r.AnchorResample) }

func (r Row) beats(anchor float64) *bool {
	if math.IsNaN(anchor) || math.IsNaN(r.Value) || math.IsNaN(r.Ideal) {
		return nil
	}
	b := math.Abs(r.Value-r.Ideal) < math.Abs(anchor-r.Ideal)
	return &b
}

func (r *Row) judge() {
	if math.IsNaN(r.Value) || math.IsNaN(r.Target) {
		return
	}
	ok := r.Value <= r.Target
	r.Pass = &ok
}

// Report gathers all measures of one render.
type Report struct {
	Steady  bool    // the request stays within 1 %: a hold
	FromRPM float64 // smallest and largest requested revs
	ToRPM   float64
	LengthS float64
	Rows    []Row
	Notes   []string // what could not be measured and why

	// The measurements behind the rows, of the render.
	Order      OrderResult
	Clicks     ClickResult
	Tremor     TremorResult
	LevelStep  LevelStepResult
	Repetition RepetitionResult
	Grains     GrainResult
	Colour     ColourResult
	STFT       STFTResult
	HalfOrders HalfOrderResult
	Formants   FormantResult
}

// Passed says whether every row with a target and a value passed, and how
// many did not.
func (r *Report) Passed() (ok bool, failed int) {
	for _, row := range r.Rows {
		if row.Pass != nil && !*row.Pass {
			failed++
		}
	}
	return failed == 0, failed
}

// Targets of the product, and of the engine reference, section 4, where the
// product sets none.
const (
	TargetHoldMedianCents  = 3.0
	TargetHoldP95Cents     = 9.0
	TargetSweepP95Cents    = 17.0
	TargetDriftCycles      = 0.5
	TargetClicks           = 0.0
	TargetColourDB         = 3.0
	TargetColourOverFloor  = 1.0
	TargetRepetitionExcess = 0.10
	TargetTooSoon          = 0.0
	TargetPeriodicShare    = 0.5
	TargetTremorDB         = 2.0
	TargetLevelStepDB      = 0.5
	TargetHalfOrderDB      = 2.0
	TargetFormantPct       = 3.0
)
