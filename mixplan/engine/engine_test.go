package engine_test

import (
	"context"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"tachbench/analysis/fidelity"
	"tachbench/mixplan/engine"
	"tachbench/samples"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
	"tachbench/synth/curve"
	"tachbench/synth/standin"
)

// sled are recordings of the stand-in: holds, a pull, a coast-down.
func sled(holds ...float64) []engine.Recording {
	spec := standin.SnowSled()
	var out []engine.Recording
	for i, rpm := range holds {
		s, _ := standin.Record(spec, standin.Hold(rpm, uint64(i)), standin.Always(1), 4, 48000, 1, uint64(10+i))
		out = append(out, engine.Recording{Name: fmt.Sprintf("hold-%.0f", rpm), Sound: s, Load: 1, RPM: rpm})
	}
	pull, _ := standin.Record(spec, standin.Ramp(1500, 8300, 10), standin.Always(1), 10, 48000, 1, 1)
	coast, _ := standin.Record(spec, standin.Ramp(8300, 1500, 8), standin.Always(0), 8, 48000, 1, 2)
	return append(out,
		engine.Recording{Name: "pull", Sound: pull, Load: 1, FromRPM: 1500, ToRPM: 8300},
		engine.Recording{Name: "coast", Sound: coast, Load: 0, FromRPM: 8300, ToRPM: 1500})
}

func prepare(t *testing.T, l crank.Layout, recs []engine.Recording) *engine.Engine {
	t.Helper()
	e, err := engine.Prepare(l, 48000, recs)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// The product's table, on the stand-in: every target met, and the two poor
// notes beaten where they are poor. Targets: analysis/fidelity.
func TestNoteReachesItsTargets(t *testing.T) {
	if testing.Short() {
		t.Skip("long; the shorter tests go the same ways")
	}
	layout := standin.SnowSled().Layout
	e := prepare(t, layout, sled(2900, 5900))
	trials, err := e.Prove(context.Background(), layout, 1600, 8200, 2)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[engine.TrialKind]int{}
	for _, tr := range trials {
		kinds[tr.Kind]++
		for _, row := range tr.Report.Rows {
			judged := tr.Kind != engine.LeftOut || row.Measure == "colour"
			if judged && row.Pass != nil && !*row.Pass {
				t.Errorf("%s, %s: %s is %.3f %s, target %.3f", tr.Name, tr.Kind, row.Measure, row.Value, row.Unit, row.Target)
			}
			beaten := func(b *bool) bool { return b != nil && *b }
			switch {
			case row.Measure == "colour" && tr.Kind == engine.LeftOut:
				if !beaten(row.BeatsLoop()) || !beaten(row.BeatsResample()) {
					t.Errorf("%s: colour %.2f dB, frozen loop %.2f, plain resampling %.2f: not beaten", tr.Name, row.Value, row.AnchorLoop, row.AnchorResample)
				}
			case row.Measure == "repetition":
				if !beaten(row.BeatsLoop()) {
					t.Errorf("%s: repetition %.2f, frozen loop %.2f: not beaten", tr.Name, row.Value, row.AnchorLoop)
				}
			}
		}
	}
	if kinds[engine.Sweep] != 1 || kinds[engine.Hold] != 2 || kinds[engine.LeftOut] != 2 {
		t.Errorf("trials: %v, want a sweep, two holds and two left out", kinds)
	}
}

// From holds alone the revs have to be right however far apart the holds lie,
// and where no stretch passes the resampling limit there are no clicks either.
func TestSweepAcrossHoldsAlone(t *testing.T) {
	if testing.Short() {
		t.Skip("long; the shorter tests go the same ways")
	}
	for _, k := range []struct {
		name    string
		spec    standin.Spec
		spacing float64 // ratio of the revs of neighbouring holds
	}{
		{"two-stroke twin", standin.SnowSled(), 1.3},
		{"V-twin", standin.VTwin(), 1.24},
		{"V-twin, close", standin.VTwin(), 1.11},
		{"four", standin.Four(), 1.3},
		{"four, close", standin.Four(), 1.11},
	} {
		var recs []engine.Recording
		lo := k.spec.IdleRPM * 1.2
		hi := lo
		for i := 0; hi*k.spacing < k.spec.RedlineRPM && i < 9; i++ {
			hi = lo * math.Pow(k.spacing, float64(i))
			s, _ := standin.Record(k.spec, standin.Hold(hi, uint64(i)), standin.Always(1), 3, 48000, 1, uint64(i))
			recs = append(recs, engine.Recording{Name: fmt.Sprintf("hold-%.0f", hi), Sound: s, Load: 1, RPM: hi})
		}
		e := prepare(t, k.spec.Layout, recs)
		c, err := curve.Sweep(lo, hi, 1, 8)
		if err != nil {
			t.Fatal(err)
		}
		take := e.Render(c, 1)
		tk := fidelity.FromRender(take.Sound, fidelity.Sweep(lo, hi, 8), k.spec.Layout)
		if o := fidelity.OrderError(tk); o.P95Cents > fidelity.TargetSweepP95Cents || o.MaxDriftCycles > fidelity.TargetDriftCycles {
			t.Errorf("%s: order error p95 %.1f cents, drift %.2f cycles", k.name, o.P95Cents, o.MaxDriftCycles)
		}
		if k.spacing > 1.12 {
			continue
		}
		var sources []*fidelity.Take
		for _, tr := range e.Tracked {
			s, err := fidelity.FromRecording(fidelity.Recording{Sound: tr.Sound, Track: tr.Track}, k.spec.Layout)
			if err != nil {
				t.Fatal(err)
			}
			sources = append(sources, s)
		}
		if ev := fidelity.NewClickReference(sources).Clicks(tk).Events; len(ev) > 0 {
			t.Errorf("%s: %d clicks, the first at %.3f s", k.name, len(ev), ev[0].AtS)
		}
	}
}

// A press gives load, a release gives overrun, and the colour follows: at the
// same revs the note on the overrun is weaker and duller in the firing order
// than under load, as the recordings are.
func TestColourFollowsTheLoad(t *testing.T) {
	layout := standin.SnowSled().Layout
	e := prepare(t, layout, sled())
	level := func(load float64) float64 {
		c, err := curve.Hold(5000, load, 2)
		if err != nil {
			t.Fatal(err)
		}
		return samples.AmplitudeDB(samples.RMS(e.Render(c, 1).Sound.Chans[0]))
	}
	full, half, shut := level(1), level(0.5), level(0)
	want := e.Bank.Layers[1].Level.At(math.Log(5000)) - e.Bank.Layers[0].Level.At(math.Log(5000))
	if got := full - shut; math.Abs(got-want) > 1 {
		t.Errorf("full load is %.1f dB above the overrun, the recordings differ by %.1f dB", got, want)
	}
	if !(shut < half && half < full) {
		t.Errorf("levels at load 0, 0.5, 1: %.1f, %.1f, %.1f dB do not rise", shut, half, full)
	}
}

func TestPrepareSaysWhichRecordingGivesNothing(t *testing.T) {
	recs := sled(3000)
	recs = append(recs, engine.Recording{Name: "hiss.wav", Sound: tone.White(48000, 1, 2, 0.1, 1), Load: 1})
	e, err := engine.Prepare(standin.SnowSled().Layout, 48000, recs)
	if err == nil || !strings.HasPrefix(err.Error(), "hiss.wav: no engine found") {
		t.Errorf("got error %v", err)
	}
	if e == nil || e.Bank.GrainCount() == 0 {
		t.Error("the other recordings were lost")
	}
	if _, err := engine.Prepare(standin.SnowSled().Layout, 48000, nil); err == nil {
		t.Error("no recordings, no error")
	}
}

// Same recordings, same note, whatever the number of cores.
func TestPrepareIsDeterministic(t *testing.T) {
	layout := standin.SnowSled().Layout
	recs := sled(2400)
	a, b := prepare(t, layout, recs), prepare(t, layout, recs)
	c, err := curve.Sweep(1600, 8000, 0.7, 2)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a.Bank, b.Bank) || !reflect.DeepEqual(a.Render(c, 3), b.Render(c, 3)) {
		t.Error("two preparations differ")
	}
}

// Recordings at another rate than the machine's, and in stereo.
func TestRecordingsAtAnotherRate(t *testing.T) {
	spec := standin.VTwin()
	s, _ := standin.Record(spec, standin.Ramp(1000, 5000, 8), standin.Always(1), 8, 44100, 2, 3)
	e := prepare(t, spec.Layout, []engine.Recording{{Name: "pull", Sound: s, Load: 1}})
	c, err := curve.Hold(3000, 1, 3)
	if err != nil {
		t.Fatal(err)
	}
	take := e.Render(c, 1)
	if take.Sound.RateHz != 48000 || take.Sound.Channels() != 2 {
		t.Fatalf("%d Hz, %d channels", take.Sound.RateHz, take.Sound.Channels())
	}
	o := fidelity.OrderError(fidelity.FromRender(take.Sound, fidelity.Hold(3000), spec.Layout))
	if o.MedianCents > fidelity.TargetHoldMedianCents || o.P95Cents > fidelity.TargetHoldP95Cents {
		t.Errorf("order error %.2f / %.2f cents", o.MedianCents, o.P95Cents)
	}
}

// A note that would clip is turned down as a whole, and says so.
func TestLoudRecordingsAreTurnedDown(t *testing.T) {
	recs := sled()
	for _, r := range recs {
		for i := range r.Sound.Chans[0] {
			r.Sound.Chans[0][i] *= 8
		}
	}
	e := prepare(t, standin.SnowSled().Layout, recs)
	c, _ := curve.Hold(7000, 1, 1)
	take := e.Render(c, 1)
	peak := 0.0
	for _, v := range take.Sound.Chans[0] {
		peak = math.Max(peak, math.Abs(v))
	}
	if take.GainDB >= 0 || math.Abs(samples.AmplitudeDB(peak)-engine.CeilingDBFS) > 1e-9 {
		t.Errorf("gain %.2f dB, peak %.2f dBFS", take.GainDB, samples.AmplitudeDB(peak))
	}
}

func BenchmarkPrepare(b *testing.B) {
	recs := sled(1650, 2200, 2900, 3800, 4800, 5900, 7200, 8000, 2500, 3300)
	total := 0.0
	for _, r := range recs {
		total += r.Sound.DurationS()
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := engine.Prepare(standin.SnowSled().Layout, 48000, recs); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(total*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
