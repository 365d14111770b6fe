package bank_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"tachbench/samples"
	"tachbench/samples/bank"
	"tachbench/samples/crank"
	"tachbench/samples/tone"
)

var (
	twin   = crank.Layout{Cylinders: 2, Strokes: 2, Firing: []float64{0, 180}}
	single = crank.Layout{Cylinders: 1, Strokes: 4}
	vtwin  = crank.Layout{Cylinders: 2, Strokes: 4, Firing: []float64{0, 315}}
)

func recording(l crank.Layout, name string, rpm func(float64) float64, seconds, load float64, seed uint64) (bank.Recording, *crank.Track) {
	s, truth := tone.Engine(tone.EngineSpec{Layout: l, RPM: rpm, DurationS: seconds, SNRDB: 20, Seed: seed})
	track := *truth
	track.Phase = append([]float64(nil), truth.Phase...)
	for i := range track.Phase { // a tracker's phase starts anywhere
		track.Phase[i] += 0.37 * float64(seed)
	}
	return bank.Recording{Name: name, Sound: s, Track: &track, Load: load}, truth
}

func build(t *testing.T, l crank.Layout, recs ...bank.Recording) *bank.Bank {
	t.Helper()
	b, err := bank.Build(l, recs)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// phaseAt reads the truth at a frame, in cycles.
func phaseAt(tr *crank.Track, frame, rateHz float64) float64 {
	x := (frame/rateHz - tr.StartS) / tr.HopS
	i := max(0, min(int(x), tr.Len()-2))
	return tr.Phase[i] + (x-float64(i))*(tr.Phase[i+1]-tr.Phase[i])
}

// All grains of all recordings must be cut at one and the same crank phase,
// whatever phase each tracker happened to start from. The cut follows the
// waveform, whose place against the true crank moves a little with the revs as
// resonances turn the orders (0.07 cycles over the range of this signal);
// between recordings at the same revs there is no such excuse.
func TestGrainsAreCutAtOneCrankPhase(t *testing.T) {
	type cut struct{ ln, phase float64 }
	for name, l := range map[string]crank.Layout{"single": single, "V-twin": vtwin} {
		hold, t1 := recording(l, "hold", tone.Hold(2400), 4, 1, 1)
		hold2, t2 := recording(l, "hold2", tone.Hold(3300), 4, 1, 2)
		pull, t3 := recording(l, "pull", tone.Pull(1400, 6000, 9), 9, 1, 3)
		b := build(t, l, hold, hold2, pull)
		truth := []*crank.Track{t1, t2, t3}
		var re, im float64
		var cuts [3][]cut
		for _, g := range b.Layers[0].Grains {
			p := phaseAt(truth[g.Rec], g.Start, 48000)
			re, im = re+math.Cos(2*math.Pi*p), im+math.Sin(2*math.Pi*p)
			cuts[g.Rec] = append(cuts[g.Rec], cut{g.LnRPM, p})
		}
		mean := math.Atan2(im, re) / (2 * math.Pi)
		worst, apart, n := 0.0, 0.0, 0
		for _, rec := range cuts {
			for _, c := range rec {
				worst = math.Max(worst, math.Abs(math.Remainder(c.phase-mean, 1)))
				n++
			}
		}
		for _, h := range append(append([]cut(nil), cuts[0]...), cuts[1]...) {
			for _, p := range cuts[2] {
				if math.Abs(h.ln-p.ln) < 0.004 {
					apart = math.Max(apart, math.Abs(math.Remainder(h.phase-p.phase, 1)))
				}
			}
		}
		if worst > 0.08 || apart > 0.015 || apart == 0 {
			t.Errorf("%s: cuts lie up to %.4f cycles from their mean, want 0.08; up to %.4f between recordings at the same revs, want 0.015", name, worst, apart)
		}
		if n < 300 {
			t.Errorf("%s: %d grains from 17 s", name, n)
		}
	}
}

func TestGrainFactsAreTrue(t *testing.T) {
	pull, _ := recording(vtwin, "pull", tone.Pull(1500, 6000, 9), 9, 1, 3)
	b := build(t, vtwin, pull)
	g := b.Layers[0].Grains
	for i := range g {
		if i > 0 && g[i].LnRPM < g[i-1].LnRPM {
			t.Fatal("grains are not in order of RPM")
		}
		tS := (g[i].Start + g[i].End) / 2 / 48000
		want := 1500 + 500*tS
		if math.Abs(g[i].RPM/want-1) > 0.005 {
			t.Errorf("grain at %.2f s: %.0f RPM, truth %.0f", tS, g[i].RPM, want)
		}
		if slope := 500 / want; math.Abs(g[i].Slope-slope) > 0.25*slope+0.01 {
			t.Errorf("grain at %.2f s: slope %.3f 1/s, truth %.3f", tS, g[i].Slope, slope)
		}
		if n := g[i].Next; n >= 0 && g[n].Start != g[i].End {
			t.Fatal("Next is not the cycle that follows")
		}
	}
}

func TestLevelCurveFollowsTheRecordings(t *testing.T) {
	quiet, _ := recording(twin, "2000", tone.Hold(2000), 3, 1, 1)
	loud, _ := recording(twin, "4000", tone.Hold(4000), 3, 1, 2)
	for _, ch := range loud.Sound.Chans {
		for i := range ch {
			ch[i] *= 4
		}
	}
	b := build(t, twin, quiet, loud)
	lev := b.Layers[0].Level
	for _, k := range []struct {
		rpm float64
		s   *samples.Sound
	}{{2000, quiet.Sound}, {4000, loud.Sound}} {
		want := samples.AmplitudeDB(samples.RMS(k.s.Chans[0]))
		if got := lev.At(math.Log(k.rpm)); math.Abs(got-want) > 0.7 {
			t.Errorf("%.0f RPM: level %.2f dB, recording %.2f dB", k.rpm, got, want)
		}
	}
	last := lev.At(math.Log(2000))
	for rpm := 2010.0; rpm < 4000; rpm += 10 {
		v := lev.At(math.Log(rpm))
		if v < last-1e-9 || v-last > 0.3 {
			t.Fatalf("level goes from %.2f to %.2f dB at %.0f RPM", last, v, rpm)
		}
		last = v
	}
}

func TestCoverageNamesTheGaps(t *testing.T) {
	a, _ := recording(twin, "hold-2000.wav", tone.Hold(2000), 2, 1, 1)
	c, _ := recording(twin, "hold-2600.wav", tone.Hold(2600), 2, 1, 2)
	b := build(t, twin, a, c)
	cov := b.Coverage(1900, 2700)
	l := cov.Layers[0]
	// Halfway between 2000 and 2600 is 2280 by ratio: 14.0 % from either.
	if math.Abs(l.Worst-100*(math.Sqrt(2600.0/2000)-1)) > 0.8 {
		t.Errorf("worst stretch %.2f %%, want 14.02 %%", l.Worst)
	}
	gap := false
	for i, r := range l.Regions {
		if i > 0 && r.FromRPM != l.Regions[i-1].ToRPM {
			t.Errorf("hole between regions at %.0f RPM", r.FromRPM)
		}
		if len(r.Recordings) == 0 {
			gap = true
			if math.Abs(r.FromRPM-2120) > 15 || math.Abs(r.ToRPM-2453) > 15 {
				t.Errorf("gap %.0f..%.0f, want 2120..2453 (6 %% from the holds)", r.FromRPM, r.ToRPM)
			}
		}
	}
	if !gap {
		t.Error("no gap found")
	}
	text := strings.Join(cov.Advice, "\n")
	for _, want := range []string{"record holds at 2200 and 2350 RPM", "coast-down"} {
		if !strings.Contains(text, want) {
			t.Errorf("advice lacks %q:\n%s", want, text)
		}
	}
}

// The slow cycles at the low end of a pull lie several percent apart; they are
// one island with the rest, while holds that stand alone are their own.
func TestIslandsAreHoldsNotSlowCycles(t *testing.T) {
	pull, _ := recording(vtwin, "pull", tone.Pull(900, 5000, 8), 8, 1, 1)
	if n := len(build(t, vtwin, pull).Layers[0].Islands); n != 1 {
		t.Errorf("a pull makes %d islands, want 1", n)
	}
	a, _ := recording(vtwin, "a", tone.Hold(1500), 3, 1, 1)
	c, _ := recording(vtwin, "c", tone.Hold(2500), 3, 1, 2)
	is := build(t, vtwin, a, c).Layers[0].Islands
	if len(is) != 2 || is[0].From != 0 || is[0].To != is[1].From {
		t.Errorf("two holds make the islands %+v, want two side by side", is)
	}
}

func TestBuildRefuses(t *testing.T) {
	ok, _ := recording(twin, "ok", tone.Hold(2000), 1, 1, 1)
	six := ok
	six.Name, six.Sound = "six", samples.NewSound(48000, 6, 4800)
	other := ok
	other.Name, other.Sound = "other", samples.NewSound(44100, 1, 4800)
	lost := ok
	lost.Track = &crank.Track{HopS: 0.01, RPM: []float64{math.NaN()}, Confidence: []float64{0}, Phase: []float64{math.NaN()}}
	for want, recs := range map[string][]bank.Recording{
		"an engine note needs at least one recording":               nil,
		"six: 6 channels; engine recordings must be mono or stereo": {ok, six},
		"other: 44100 Hz beside 48000 Hz":                           {ok, other},
		bank.ErrNoGrains.Error():                                    {lost},
	} {
		if _, err := bank.Build(twin, recs); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if _, err := bank.Build(twin, []bank.Recording{lost}); !errors.Is(err, bank.ErrNoGrains) {
		t.Error("ErrNoGrains cannot be told apart")
	}
}

func BenchmarkBuild(b *testing.B) {
	pull, _ := recording(twin, "pull", tone.Pull(1500, 8000, 30), 30, 1, 1)
	coast, _ := recording(twin, "coast", tone.Pull(8000, 1500, 30), 30, 0, 2)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := bank.Build(twin, []bank.Recording{pull, coast}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(60*float64(b.N)/b.Elapsed().Seconds(), "x-realtime")
}
