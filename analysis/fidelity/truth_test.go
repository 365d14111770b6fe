package fidelity

import (
	"math"
	"testing"

	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

var (
	sled    = crank.Layout{Cylinders: 2, Strokes: 2}
	vtwin   = crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}
	single  = crank.Layout{Cylinders: 1, Strokes: 4}
	four    = crank.Layout{Cylinders: 4, Strokes: 4}
	layouts = map[string]crank.Layout{"sled": sled, "vtwin": vtwin, "single": single, "four": four}
)

// engine makes a recording with known truth.
func engine(l crank.Layout, rpm func(float64) float64, seconds float64, seed uint64) Recording {
	s, tr := tone.Engine(tone.EngineSpec{Layout: l, RPM: rpm, DurationS: seconds, SNRDB: 26, Seed: seed})
	return Recording{s, tr}
}

func take(t testing.TB, r Recording, l crank.Layout) *Take {
	t.Helper()
	out, err := FromRecording(r, l)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// halves are two takes of the same engine: one recording cut in two.
func halves(t testing.TB, rpm, seconds float64, seed uint64) (a, b *Take) {
	t.Helper()
	s := take(t, engine(sled, Hold(rpm), 2*seconds, seed), sled)
	h := len(s.X) / 2
	return s.part(0, h), s.part(h, len(s.X))
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6g, want %.6g ± %.3g", what, got, want, tol)
	}
}

func below(t *testing.T, what string, got, limit float64) {
	t.Helper()
	if !(got <= limit) {
		t.Errorf("%s: %.6g, want at most %.6g", what, got, limit)
	}
}

func mono(x []float64) *samples.Sound {
	return &samples.Sound{RateHz: 48000, Chans: [][]float64{x}}
}

// Rows 18 to 20 and 31 of the engine reference's check values.
func TestPublishedCheckValues(t *testing.T) {
	near(t, "1 % sharp in cents", Cents(1.01), 17.226, 0.001)
	near(t, "3 cents in percent", 100*(math.Exp2(3.0/1200)-1), 0.17344, 1e-4)
	near(t, "octave error", Cents(0.5), -1200, 1e-9)
	near(t, "ERB(100)", ERB(100), 35.49, 0.01)
	near(t, "ERB(1000)", ERB(1000), 132.64, 0.01)
	near(t, "back from the ERB scale", ERBHz(ERBNumber(1234)), 1234, 1e-9)
	// The ERB-number scale has the slope 1/ERB; its published constant 21.4
	// is rounded from ln(10)/(24.7·0.00437) = 21.33.
	slope := (ERBNumber(1000.5) - ERBNumber(999.5)) * ERB(1000)
	near(t, "slope of the ERB scale", slope, 21.4/21.332, 1e-4)
}

// Row 36: 1000 to 3000 RPM in 2 s on a four-stroke is 33.3333 cycles.
func TestRequestedPhaseIsTheExactIntegral(t *testing.T) {
	s := samples.NewSound(48000, 1, 2*48000+1)
	tk := FromRender(s, Sweep(1000, 3000, 2), four)
	near(t, "cycles", tk.Phase[len(tk.Phase)-1], 100.0/3, 1e-9)
	c := Curve([]float64{0, 2}, []float64{1000, 3000})
	near(t, "curve", c(0.5), 1500, 1e-12)
	near(t, "curve before", c(-1), 1000, 0)
	near(t, "curve after", c(3), 3000, 0)
}

func TestFromRecordingTakesLongestStretch(t *testing.T) {
	r := engine(sled, Hold(3000), 2, 1)
	for i := 700; i < 720; i++ { // the track has a point each millisecond
		r.Track.RPM[i], r.Track.Phase[i] = math.NaN(), math.NaN()
	}
	tk := take(t, r, sled)
	near(t, "length", tk.DurationS(), 1.28, 0.01)
	near(t, "revs", tk.RPM(), 3000, 1e-6)
	if _, err := FromRecordingNear(r, sled, 5000, 0.03); err == nil {
		t.Error("no error for revs the recording does not have")
	}
	if _, err := FromRecording(Recording{}, sled); err == nil {
		t.Error("no error for an empty recording")
	}
}
